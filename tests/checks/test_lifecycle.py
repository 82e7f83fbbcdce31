"""The table of alarm states against the figure of ANSI/ISA-18.2 and IEC 62682.

Source: alarm_states.csv and alarm_transitions.csv, the figure written down from memory (the standards could not be
read; the latching rows are the less sure ones). What is ours beyond the figure is listed below, so that
nothing slips in unseen.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from historian.frame import NS
from rules.entry import Act, ActKind
from rules.finding import Priority
from rules.lifecycle import LifeCycle, Refusal, Transition
from rules.states import HIDDEN, TABLE, AlarmEvent, State
from tests.rules.toys import T0, finding

pytestmark = pytest.mark.shared

_SHARED = Path(__file__).resolve().parents[2].parent / "shared"

# The figure's words → our event; one that returns from hiding has two ends by the condition.
_EVENTS = {
    "alarm condition true (after on-delay)": AlarmEvent.CONDITION,
    "alarm condition true again": AlarmEvent.CONDITION,
    "acknowledge": AlarmEvent.SEEN,
    "condition clears (after off-delay; not latching)": AlarmEvent.CLEARED,
    "condition clears (not latching)": AlarmEvent.CLEARED,
    "condition clears (latching)": AlarmEvent.CLEARED_LATCHING,
    "re-alarm (timer or new alarm on same point)": AlarmEvent.RE_ALARM,
    "reset while unacknowledged (if allowed)": AlarmEvent.RESET,
    "reset": AlarmEvent.RESET,
    "shelve (operator; time limit)": AlarmEvent.SHELVED,
    "designed suppression true": AlarmEvent.SUPPRESSED,
    "remove from service (maintenance; authorised)": AlarmEvent.TAKEN_OUT,
}
_RETURNS = {
    "unshelve or timer expired": (AlarmEvent.UNSHELVED, AlarmEvent.UNSHELVED_TRUE),
    "designed suppression false": (AlarmEvent.UNSUPPRESSED, AlarmEvent.UNSUPPRESSED_TRUE),
    "return to service": (AlarmEvent.PUT_BACK, AlarmEvent.PUT_BACK_TRUE),
}
# Beyond the figure: the condition comes back while latched unacknowledged; newer words for the same condition;
# and what a hidden alarm follows unseen.
_OURS = {
    (State.LATCHED, AlarmEvent.CONDITION),
    (State.UNACKNOWLEDGED, AlarmEvent.NEWS),
    (State.ACKNOWLEDGED, AlarmEvent.NEWS),
    *(
        (state, event)
        for state in HIDDEN
        for event in (AlarmEvent.CONDITION, AlarmEvent.CLEARED, AlarmEvent.CLEARED_LATCHING, AlarmEvent.NEWS)
    ),
}


def _rows(name: str) -> list[dict[str, str]]:
    if not _SHARED.is_dir():
        pytest.skip(f"{_SHARED} is not there")
    with (_SHARED / "checks" / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _figure() -> dict[tuple[State, AlarmEvent], State]:
    table = {}
    for row in _rows("alarm_transitions.csv"):
        for letter in row["from"].split("/"):
            before = State(letter)
            if row["event"] in _RETURNS:
                assert row["to"] == "A if condition false else B"
                gone, true = _RETURNS[row["event"]]
                table[before, gone], table[before, true] = State.NORMAL, State.UNACKNOWLEDGED
            else:
                table[before, _EVENTS[row["event"]]] = State(row["to"])
    return table


def test_the_table_is_the_figure_and_what_is_listed_as_ours() -> None:
    figure = _figure()
    assert len(figure) > 30
    assert {step: after for step, after in TABLE.items() if step not in _OURS} == figure
    assert not _OURS & figure.keys()


# The figure's words for a state → what the life cycle's alarm must show there.
_NO, _YES, _MAY = "no", "yes", "optional"
_WORDS = {
    "normal": "normal",
    "unacknowledged alarm": "unacknowledged",
    "acknowledged alarm": "acknowledged",
    "returned to normal unacknowledged": "returned, unacknowledged",
    "latched unacknowledged": "latched, unacknowledged",
    "latched acknowledged": "latched, acknowledged",
    "shelved": "shelved",
    "suppressed by design": "suppressed by design",
    "out of service": "out of service",
}


def test_the_states_are_the_figures() -> None:
    rows = _rows("alarm_states.csv")
    assert {row["id"]: _WORDS[row["state"]] for row in rows} == {str(s): s.words for s in State}
    for row in rows:
        state, asked = State(row["id"]), row["annunciated"].partition(" ")[0]
        assert state.announced == (asked in (_YES, _MAY)), row
        assert state.hidden == (row["acknowledged"] == "n/a"), row


NAME = ("over", "filter.inlet")


def _act(what: ActKind, at_ns: int) -> Act:
    until_ns = at_ns + 60 * NS if what is ActKind.SHELVE else None
    return Act(1, at_ns, "ada", "engineer", what, *NAME, "known", until_ns)


def _step(life: LifeCycle, event: AlarmEvent) -> list[Transition]:
    """One thing that happens to the alarm, as rules, people and design bring it about."""
    acts = {
        AlarmEvent.SEEN: ActKind.SEEN,
        AlarmEvent.RESET: ActKind.RESET,
        AlarmEvent.SHELVED: ActKind.SHELVE,
        AlarmEvent.UNSHELVED: ActKind.UNSHELVE,
        AlarmEvent.UNSHELVED_TRUE: ActKind.UNSHELVE,
        AlarmEvent.TAKEN_OUT: ActKind.OUT_OF_SERVICE,
        AlarmEvent.PUT_BACK: ActKind.IN_SERVICE,
        AlarmEvent.PUT_BACK_TRUE: ActKind.IN_SERVICE,
    }
    if event in acts:
        changes = life.act(_act(acts[event], T0), T0)
        assert not any(isinstance(c, Refusal) for c in changes), changes
        return [c for c in changes if isinstance(c, Transition)]
    if event in (AlarmEvent.SUPPRESSED, AlarmEvent.UNSUPPRESSED, AlarmEvent.UNSUPPRESSED_TRUE):
        return life.suppress(*NAME, event is AlarmEvent.SUPPRESSED, T0, "by design")
    if event in (AlarmEvent.CLEARED, AlarmEvent.CLEARED_LATCHING):
        return life.finding(finding(False), T0)
    graver = Priority.HIGH if event is AlarmEvent.RE_ALARM else Priority.LOW
    return life.finding(finding(priority=graver), T0)


# How an alarm comes into each state, from nothing; whether its rule latches is in the figure's event.
_WAYS: dict[State, tuple[AlarmEvent, ...]] = {
    State.NORMAL: (AlarmEvent.CONDITION, AlarmEvent.SEEN, AlarmEvent.CLEARED),
    State.UNACKNOWLEDGED: (AlarmEvent.CONDITION,),
    State.ACKNOWLEDGED: (AlarmEvent.CONDITION, AlarmEvent.SEEN),
    State.RETURNED: (AlarmEvent.CONDITION, AlarmEvent.CLEARED),
    State.LATCHED: (AlarmEvent.CONDITION, AlarmEvent.CLEARED_LATCHING),
    State.LATCHED_ACKNOWLEDGED: (AlarmEvent.CONDITION, AlarmEvent.SEEN, AlarmEvent.CLEARED_LATCHING),
    State.SHELVED: (AlarmEvent.CONDITION, AlarmEvent.SHELVED),
    State.SUPPRESSED: (AlarmEvent.CONDITION, AlarmEvent.SUPPRESSED),
    State.OUT_OF_SERVICE: (AlarmEvent.CONDITION, AlarmEvent.TAKEN_OUT),
}
_ENDS_GONE = (AlarmEvent.UNSHELVED, AlarmEvent.UNSUPPRESSED, AlarmEvent.PUT_BACK)


def test_every_row_of_the_figure_is_lived_through() -> None:
    """Not the table alone: findings, acts and design bring an alarm along every row, and the journal says so."""
    lived = 0
    for (before, event), after in _figure().items():
        latching = AlarmEvent.CLEARED_LATCHING in (*_WAYS[before], event)
        life = LifeCycle(["over"] if latching else [])
        for way in _WAYS[before]:
            _step(life, way)
        if event in _ENDS_GONE:
            life.finding(finding(False), T0)
        assert life.state(*NAME) is before
        (change,) = _step(life, event)
        assert (change.before, change.event, change.after) == (before, event, after)
        assert change.time_ns == T0 and change.by and (change.by == "rules" or change.act_id == 1)
        lived += 1
    assert lived == len(_figure())


def test_a_shelf_ends_by_itself_as_the_figure_says() -> None:
    for gone, after in ((False, State.UNACKNOWLEDGED), (True, State.NORMAL)):
        life = LifeCycle()
        for way in _WAYS[State.SHELVED]:
            _step(life, way)
        if gone:
            life.finding(finding(False), T0)
        (change,) = life.advance(T0 + 60 * NS)
        assert change.after is after and change.by == "rules"
