"""The table of alarm states against the figure of ANSI/ISA-18.2 and IEC 62682.

Source: alarm_states.csv and alarm_transitions.csv, the figure written down from memory (the standards could not be
read; the latching rows are the less sure ones). What is ours beyond the figure is listed below, so that
nothing slips in unseen.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from rules.states import HIDDEN, TABLE, AlarmEvent, State

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


def test_the_states_are_the_figures() -> None:
    rows = {row["id"]: row["state"] for row in _rows("alarm_states.csv")}
    assert set(rows) == {str(s) for s in State}
    short = {letter: name.removesuffix(" alarm") for letter, name in rows.items()}
    for state in (State.NORMAL, State.UNACKNOWLEDGED, State.ACKNOWLEDGED, *HIDDEN):
        assert short[state] == state.words
