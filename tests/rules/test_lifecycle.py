"""The life of an alarm: who may do what, what is refused, and what no sequence of events can break."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.frame import NS
from rules.entry import Act, ActKind
from rules.finding import Priority
from rules.lifecycle import LifeCycle, Refusal, Transition
from rules.permission import MINUTE_NS
from rules.states import TABLE, AlarmEvent, State
from tests.rules.toys import T0, finding

NAME = {"rule": "over", "subject": "filter.inlet"}


def act(what: ActKind, *, role: str = "operator", minutes: float | None = None, **rest: object) -> Act:
    until = None if minutes is None else T0 + round(minutes * MINUTE_NS)
    made = Act(1, T0, "ada", role, what, "over", "filter.inlet", "known from this morning", until)
    return replace(made, **rest)  # type: ignore[arg-type]


def raised(priority: Priority = Priority.MEDIUM, latching: tuple[str, ...] = ()) -> LifeCycle:
    life = LifeCycle(latching)
    assert [t.after for t in life.finding(finding(priority=priority), T0)] == [State.UNACKNOWLEDGED]
    return life


def only(changes: list[Transition | Refusal]) -> Transition:
    (change,) = changes
    assert isinstance(change, Transition), change
    return change


def refused(life: LifeCycle, act: Act, at_ns: int = T0) -> str:
    before = life.save()
    (change,) = life.act(act, at_ns)
    assert isinstance(change, Refusal)
    assert life.save() == before
    return change.reason


def test_seen_and_then_gone_is_normal() -> None:
    life = raised()
    seen = only(life.act(act(ActKind.SEEN), T0 + NS))
    assert (seen.before, seen.after, seen.by, seen.act_id) == (
        State.UNACKNOWLEDGED,
        State.ACKNOWLEDGED,
        "ada",
        1,
    )
    (gone,) = life.finding(finding(False), T0 + 2 * NS)
    assert (gone.after, gone.condition, gone.sentence) == (State.NORMAL, False, "The pressure is high.")


def test_gone_before_it_was_seen_waits_to_be_seen() -> None:
    life = raised()
    assert life.finding(finding(False), T0 + NS)[0].after is State.RETURNED
    assert only(life.act(act(ActKind.SEEN), T0 + 2 * NS)).after is State.NORMAL


def test_a_latching_alarm_stays_until_reset() -> None:
    life = raised(latching=("over",))
    assert life.finding(finding(False), T0)[0].after is State.LATCHED
    assert only(life.act(act(ActKind.SEEN), T0)).after is State.LATCHED_ACKNOWLEDGED
    assert "nothing" in refused(life, act(ActKind.SEEN))
    assert only(life.act(act(ActKind.RESET), T0)).after is State.NORMAL


@pytest.mark.parametrize(
    "one",
    [
        finding(priority=Priority.JOURNAL),
        finding(momentary=True, priority=Priority.HIGH),
        finding(late=True, priority=Priority.HIGH),
        finding(False),
    ],
)
def test_these_findings_make_no_standing_alarm(one: object) -> None:
    life = LifeCycle()
    assert life.finding(one, T0) == []  # type: ignore[arg-type]
    assert life.save() == {"alarms": []}


def test_a_late_end_does_not_end_a_standing_alarm() -> None:
    life = raised()
    assert life.finding(finding(False, late=True), T0) == []
    assert life.state("over", "filter.inlet") is State.UNACKNOWLEDGED


def test_a_graver_condition_alarms_again_and_a_milder_one_only_brings_news() -> None:
    life = raised(Priority.MEDIUM)
    life.act(act(ActKind.SEEN), T0)
    assert life.finding(finding(priority=Priority.MEDIUM), T0) == []
    (news,) = life.finding(finding(priority=Priority.LOW, sentence="Falling."), T0)
    assert (news.event, news.after, news.sentence) == (AlarmEvent.NEWS, State.ACKNOWLEDGED, "Falling.")
    (again,) = life.finding(finding(priority=Priority.HIGH), T0 + NS)
    assert (again.event, again.after, again.priority) == (
        AlarmEvent.RE_ALARM,
        State.UNACKNOWLEDGED,
        Priority.HIGH,
    )


def test_a_shelf_ends_with_its_time_and_says_whether_the_condition_holds() -> None:
    for still, after in ((True, State.UNACKNOWLEDGED), (False, State.NORMAL)):
        life = raised()
        shelf = only(life.act(act(ActKind.SHELVE, minutes=30), T0))
        assert (shelf.after, shelf.until_ns, shelf.reason) == (
            State.SHELVED,
            T0 + 30 * MINUTE_NS,
            "known from this morning",
        )
        if not still:
            (hidden,) = life.finding(finding(False), T0 + NS)
            assert (hidden.after, hidden.condition, hidden.until_ns) == (State.SHELVED, False, shelf.until_ns)
        assert life.advance(T0 + 30 * MINUTE_NS - 1) == []
        (end,) = life.advance(T0 + 30 * MINUTE_NS)
        assert (end.after, end.until_ns, end.by) == (after, None, "rules")
        assert life.advance(T0 + 40 * MINUTE_NS) == []


def test_unshelving_by_hand_is_the_same_before_the_time() -> None:
    life = raised()
    life.act(act(ActKind.SHELVE, minutes=30), T0)
    assert only(life.act(act(ActKind.UNSHELVE), T0 + NS)).after is State.UNACKNOWLEDGED


def test_a_shelf_for_a_milder_condition_does_not_hide_a_graver_one() -> None:
    life = raised(Priority.LOW)
    life.act(act(ActKind.SHELVE, minutes=600), T0)
    assert life.finding(finding(False), T0)[0].after is State.SHELVED
    back, shown = life.finding(finding(priority=Priority.HIGH), T0 + NS)
    assert (back.after, shown.after) == (State.SHELVED, State.UNACKNOWLEDGED)
    assert "graver" in shown.reason


def test_what_a_shelf_needs() -> None:
    life = raised(Priority.MEDIUM)
    assert "needs an end" in refused(life, act(ActKind.SHELVE))
    assert "needs a reason" in refused(life, act(ActKind.SHELVE, minutes=5, reason="  "))
    assert "passed" in refused(life, act(ActKind.SHELVE, minutes=5), T0 + 5 * MINUTE_NS)
    assert "at most 24 h" in refused(life, act(ActKind.SHELVE, minutes=24 * 60 + 1))
    assert only(life.act(act(ActKind.SHELVE, minutes=24 * 60), T0)).after is State.SHELVED


def test_only_an_engineer_shelves_a_high_alarm_and_for_an_hour_at_most() -> None:
    life = raised(Priority.HIGH)
    assert "only an engineer" in refused(life, act(ActKind.SHELVE, minutes=5))
    assert "at most 60 min" in refused(life, act(ActKind.SHELVE, minutes=60.1, role="engineer"))
    assert only(life.act(act(ActKind.SHELVE, minutes=60, role="engineer"), T0)).after is State.SHELVED


def test_only_an_engineer_takes_out_of_service_and_puts_back() -> None:
    life = raised()
    assert "engineer" in refused(life, act(ActKind.OUT_OF_SERVICE))
    assert "reason" in refused(life, act(ActKind.OUT_OF_SERVICE, role="engineer", reason=""))
    assert only(life.act(act(ActKind.OUT_OF_SERVICE, role="engineer"), T0)).after is State.OUT_OF_SERVICE
    assert "engineer" in refused(life, act(ActKind.IN_SERVICE))
    assert only(life.act(act(ActKind.IN_SERVICE, role="engineer"), T0)).after is State.UNACKNOWLEDGED


def test_suppression_by_design_hides_and_returns() -> None:
    life = LifeCycle()
    assert life.suppress("over", "filter.inlet", False, T0, "") == []
    assert life.suppress("over", "filter.inlet", True, T0, "the screw stands")[0].after is State.SUPPRESSED
    assert life.finding(finding(), T0)[0].after is State.SUPPRESSED
    assert life.suppress("over", "filter.inlet", False, T0, "it turns")[0].after is State.UNACKNOWLEDGED


def test_an_act_on_an_alarm_that_never_was_is_refused() -> None:
    life = LifeCycle()
    assert "ever been raised" in refused(life, act(ActKind.SHELVE, minutes=5))


def test_notes_and_marks_change_nothing() -> None:
    life = raised()
    assert life.act(act(ActKind.NOTE), T0) == life.act(act(ActKind.MARK), T0) == []


_SUBJECTS = ("filter.inlet", "filter.plate.1")
_findings = st.builds(
    finding,
    st.booleans(),
    rule=st.sampled_from(["over", "latched"]),
    subject=st.sampled_from(_SUBJECTS),
    priority=st.sampled_from(Priority),
    sentence=st.sampled_from(["one", "two"]),
    momentary=st.booleans(),
    late=st.booleans(),
)
_acts = st.builds(
    Act,
    st.just(1),
    st.just(T0),
    st.just("ada"),
    st.sampled_from(["operator", "engineer"]),
    st.sampled_from(ActKind),
    st.sampled_from(["over", "latched"]),
    st.sampled_from(_SUBJECTS),
    st.sampled_from(["", "why"]),
    st.none() | st.integers(-5, 2000).map(lambda m: T0 + m * MINUTE_NS),
)
_steps = st.lists(_findings | _acts | st.integers(0, 100) | st.booleans(), max_size=40)


@given(_steps, st.integers(0, 40))
def test_whatever_happens(steps: list[object], cut: int) -> None:
    """Each change stands in the table; a refused act changes nothing; saved and restored is the same."""
    life = LifeCycle(("latched",))
    now = T0
    for n, step in enumerate(steps):
        if n == cut:
            restored = LifeCycle(("latched",))
            restored.restore(json.loads(json.dumps(life.save())))
            assert restored.save() == life.save()
            life = restored
        before, states = life.save(), _states(life)
        if isinstance(step, bool):
            changes: list[Transition | Refusal] = [*life.suppress("over", "filter.inlet", step, now, "why")]
        elif isinstance(step, int):
            now += step * MINUTE_NS
            changes = [*life.advance(now)]
        elif isinstance(step, Act):
            changes = life.act(step, now)
        else:
            changes = [*life.finding(step, now)]  # type: ignore[arg-type]
        for change in changes:
            if isinstance(change, Refusal):
                assert change.reason and life.save() == before
                continue
            name = (change.rule, change.subject)
            assert states.get(name, State.NORMAL) is change.before
            assert TABLE[change.before, change.event] is change.after
            assert (change.until_ns is not None) == (change.after is State.SHELVED)
            states[name] = change.after
        assert {n: s for n, s in states.items() if s is not State.NORMAL} == {
            n: s for n, s in _states(life).items() if s is not State.NORMAL
        }
        _holds_together(life, now if isinstance(step, int) and not isinstance(step, bool) else None)


def _states(life: LifeCycle) -> dict[tuple[str, str], State]:
    return {(a["rule"], a["subject"]): State(a["state"]) for a in life.save()["alarms"]}


def _holds_together(life: LifeCycle, advanced_ns: int | None) -> None:
    for alarm in life.save()["alarms"]:
        state = State(alarm["state"])
        if not state.hidden:
            assert alarm["condition"] == (state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED))
        if state is State.SHELVED:
            assert advanced_ns is None or alarm["until_ns"] > advanced_ns
            assert alarm["priority"] <= alarm["shelf_priority"] or not alarm["condition"]
