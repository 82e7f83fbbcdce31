"""The score of a trial; each number is worked out beside its case."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.frame import NS
from rules.backtest.said import Record
from rules.backtest.scoring import Outcome, score
from rules.finding import Priority
from tests.rules.backtest.made import at, blind, fault, quiet, record, said


def test_a_fault_that_is_found_in_time() -> None:
    """Seen from 1030 s on, said at 1100 s: 70 s; the onset was at 1000 s: 100 s."""
    (found,) = score(record(said()), [fault()]).found
    assert found.outcome is Outcome.FOUND
    assert (found.lead_s, found.from_onset_s) == (70.0, 100.0)
    assert found.by is not None and found.by.rule == "heater-power"
    assert found.first is True


@pytest.mark.parametrize(
    ("found_s", "outcome"), [(1390.0, Outcome.FOUND), (1391.0, Outcome.LATE), (2801.0, None)]
)
def test_it_is_due_a_while_after_it_could_be_seen(found_s: float, outcome: Outcome | None) -> None:
    """Due at 1030 + 360 = 1390 s; after its end at 2800 s a finding is no longer this fault's."""
    scored = score(record(said(found_s=found_s)), [fault()])
    assert scored.found[0].outcome is (outcome or Outcome.MISSED)
    assert len(scored.false) == (0 if outcome else 1)


@pytest.mark.parametrize(
    ("found_s", "heard_s", "lead_s"),
    [
        (999.0, None, None),  # before the onset at 1000 s: of something else, or of nothing
        (999.0, 1000.0, -31.0),  # said after it, the source's clock is a second behind
        (999.0, 999.9, None),
        (989.0, 1005.0, None),  # further off than clocks are
        (1000.0, None, -30.0),
        (1029.0, 1030.0, -1.0),  # before anybody could see it at 1030 s
    ],
)
def test_what_was_said_before_the_begin_is_no_find_and_before_it_is_visible_is_in_time(
    found_s: float, heard_s: float | None, lead_s: float | None
) -> None:
    scored = score(record(said(found_s=found_s, heard_s=heard_s)), [fault()])
    assert scored.found[0].outcome is (Outcome.MISSED if lead_s is None else Outcome.FOUND)
    assert scored.found[0].lead_s == lead_s
    assert [f.healthy for f in scored.false] == ([True] if lead_s is None else [])


def test_a_slow_fault_is_not_found_by_a_cry_hours_before_it_that_stands_on_into_it() -> None:
    """A zero drifts from 3000 s on and shows at 6000 s: said at 100 s it is false, at 3100 s in time."""
    drift = fault(number="B35", onset_s=3000.0, end_s=None, visible_s=6000.0, within_s=900.0)
    early, right = (said("sensor-drift", found_s=s) for s in (100.0, 3100.0))
    scored = score(record(early), [drift])
    assert scored.found[0].by is None and [f.said for f in scored.false] == [early]
    scored = score(record(early, right), [drift])
    assert (scored.found[0].by, scored.found[0].lead_s) == (right, -2900.0)
    assert [f.said for f in scored.false] == [early]


def test_the_first_of_several_findings_counts_and_none_of_them_is_false() -> None:
    scored = score(record(said(found_s=1200.0), said(found_s=1100.0)), [fault()])
    assert scored.found[0].lead_s == 70.0
    assert scored.false == ()


def test_a_fault_that_nobody_names_is_missed() -> None:
    (found,) = score(record(), [fault()]).found
    assert (found.outcome, found.by, found.lead_s, found.first) == (Outcome.MISSED, None, None, None)
    assert found.judged


def test_a_fault_without_a_rule_on_this_line_is_missed_all_the_same() -> None:
    (found,) = score(record(rules=["screen-torn"]), [fault()]).found
    assert (found.outcome, found.judged) == (Outcome.MISSED, False)


@pytest.mark.parametrize(
    "truth",
    [
        fault(visible_s=None),
        fault(within_s=None),
        fault(end_s=1389.0),  # over a second before it was due
        fault(end_s=None, onset_s=6900.0, visible_s=6900.0),  # due at 7260 s, the record ends at 7200 s
    ],
    ids=["never seen", "on a person's word", "over before", "record over before"],
)
def test_what_nobody_could_find_is_not_missed(truth: object) -> None:
    scored = score(record(), [truth])  # type: ignore[list-item]
    assert [f.outcome for f in scored.found] == [Outcome.NOT_DUE]


def test_the_right_rule_at_another_place_is_false_and_the_fault_missed() -> None:
    scored = score(record(said(subject="filter.plate.5")), [fault()])
    assert scored.found[0].outcome is Outcome.MISSED
    assert [(f.said.subject, f.healthy) for f in scored.false] == [("filter.plate.5", False)]


def test_a_finding_about_a_whole_machine_counts_by_the_signals_that_it_names() -> None:
    whole = said(subject="filter", tags=("filter.plate.3.temp.pv",))
    assert score(record(whole), [fault()]).found[0].outcome is Outcome.FOUND
    assert score(record(replace(whole, subject="line", tags=())), [fault()]).false != ()


def test_plate_1_is_not_plate_12() -> None:
    truth = fault(tags=("filter.plate.12.temp.pv",))
    assert score(record(said(subject="filter.plate.1")), [truth]).found[0].outcome is Outcome.MISSED


def test_a_wrong_cause_is_false_but_not_healthy() -> None:
    """The fault acts from 1000 s to 2800 s, and shows for ten minutes more: 3400 s."""
    wrong = [said("screen-torn", "filter.screen", s) for s in (999.0, 1000.0, 3400.0, 3401.0)]
    scored = score(record(*wrong), [fault()])
    assert [f.healthy for f in scored.false] == [True, False, False, True]


def test_a_known_consequence_is_neither_found_nor_false() -> None:
    uneven = said("plates-uneven", "filter", 1500.0, Priority.LOW)
    scored = score(record(uneven), [fault()])
    assert scored.found[0].outcome is Outcome.MISSED
    assert (scored.false, scored.consequences) == ((), (uneven,))
    assert score(record(uneven), []).false != ()


def test_what_must_not_be_named_is_false_even_where_it_would_be_excused() -> None:
    weak = said("heater-weak", found_s=1500.0, priority=Priority.LOW)
    assert score(record(weak), [fault()]).false == ()
    (false,) = score(record(weak), [fault(not_for=["heater-weak"])]).false
    assert false.not_for == ("plate",)


def test_a_suppressed_consequence_of_a_right_finding_is_not_false() -> None:
    root = said()
    under = said("screen-torn", "filter.screen", 1110.0, root=root.name)
    assert score(record(root, under), [fault()]).false == ()
    assert len(score(record(under), []).false) == 1


def test_entries_of_the_journal_are_never_false_and_late_samples_are_counted_apart() -> None:
    note = said("screen-torn", priority=Priority.JOURNAL)
    scored = score(record(note, said("screen-torn", late=True)), [])
    assert (scored.false, scored.late_samples) == ((), 1)
    assert score(record(said(late=True)), [fault()]).found[0].outcome is Outcome.MISSED


def test_healthy_time_is_the_record_without_faults_and_what_they_leave() -> None:
    """Two hours less 1000 s to 2800 s + 600 s: 7200 − 2400 = 4800 s; overlapping ones count once."""
    scored = score(record(), [fault(), fault("again", onset_s=1500.0, end_s=2000.0)])
    assert (scored.recorded_s, scored.healthy_s) == (7200.0, 4800.0)
    assert score(record(), [fault(end_s=None)]).healthy_s == 1000.0


def test_a_quiet_stretch_is_disturbed_by_medium_and_high_only() -> None:
    stretches = [quiet("start", 5000.0, 5600.0), quiet("ramp", 6000.0, 6100.0)]
    low = said(found_s=5100.0, priority=Priority.LOW)
    assert score(record(low), stretches).disturbed == ()
    scored = score(record(low, replace(low, priority=Priority.HIGH)), stretches)
    assert (scored.quiet, scored.disturbed) == (("start", "ramp"), ("start",))
    assert len(scored.false) == 2


@pytest.mark.parametrize(
    ("rule", "priority", "found_s", "first"),
    [
        ("screen-torn", Priority.HIGH, 1150.0, False),  # graver, and within the minute
        ("screen-torn", Priority.HIGH, 1161.0, True),  # 61 s later
        ("screen-torn", Priority.MEDIUM, 1099.0, False),  # as grave, and earlier
        ("screen-torn", Priority.MEDIUM, 1101.0, True),
        ("screen-torn", Priority.LOW, 1099.0, True),
    ],
)
def test_first_is_what_stands_on_top_of_that_minute(
    rule: str, priority: Priority, found_s: float, first: bool
) -> None:
    scored = score(record(said(), said(rule, "filter.screen", found_s, priority)), [fault()])
    assert scored.found[0].first is first


def test_a_finding_under_a_wrong_root_does_not_stand_first_and_another_faults_finding_does_not_count() -> (
    None
):
    torn = said("screen-torn", "filter.screen", 1100.0, Priority.HIGH)
    assert score(record(torn, said(root=torn.name)), [fault()]).found[0].first is False
    other = fault("tear", "B19", 1090.0, tags=("filter.dp.calc",), placed=False)
    assert [f.first for f in score(record(torn, said()), [fault(), other]).found] == [True, True]


def test_blind_time_is_told_and_does_not_make_good() -> None:
    """B1 has one rule: blind from 1100 to 1300 s of the 1030 to 1390 s in which it was due."""
    (found,) = score(record(blind=[blind("heater-power", 1100.0, 1300.0)]), [fault()]).found
    assert (found.outcome, found.blind_s) == (Outcome.MISSED, 200.0)
    only_there = [blind("heater-power", 1100.0, 1300.0, "filter.plate.5")]
    assert score(record(blind=only_there), [fault()]).found[0].blind_s == 0.0


def test_a_fault_is_blind_only_where_all_of_its_rules_are() -> None:
    """B2 has heater-weak and heater-power: both are blind from 1200 to 1300 s, the one or the other for longer."""
    spells = [
        blind("heater-power", 1100.0, 1300.0),
        blind("heater-weak", 1200.0, 1250.0),
        blind("heater-weak", 1240.0, 1350.0),
    ]
    scored = score(record(blind=spells), [fault(number="B2")])
    assert scored.found[0].blind_s == 100.0
    assert scored.blind_s == {"heater-power": 200.0, "heater-weak": 150.0}


def test_a_source_is_known_by_its_name() -> None:
    truth = replace(fault(number="B36", tags=()), source="filter")
    ours, other = (said("source-silent", f"source.{name}", 1050.0) for name in ("filter", "extruder"))
    assert score(record(ours), [truth]).found[0].lead_s == 20.0
    assert len(score(record(other), [truth]).false) == 1


_rule = st.sampled_from(["heater-power", "heater-weak", "screen-torn", "plates-uneven"])
_said = st.builds(
    said,
    rule=_rule,
    subject=st.sampled_from(["filter.plate.3", "filter.plate.5", "filter.screen"]),
    found_s=st.integers(0, 7200).map(float),
    priority=st.sampled_from(Priority),
    root=st.sampled_from([None, ("heater-power", "filter.plate.3")]),
)
_number = st.sampled_from(["B1", "B2", "B19"])


@st.composite
def _faults(draw: st.DrawFn) -> list[object]:
    onsets = draw(st.lists(st.integers(0, 6000), max_size=4))
    return [
        fault(str(n), draw(_number), float(s), s + 600.0, visible_s=s + 10.0) for n, s in enumerate(onsets)
    ]


@settings(max_examples=60, deadline=None)
@given(st.lists(_said, max_size=8), _faults(), st.randoms(use_true_random=False))
def test_the_order_in_which_faults_and_findings_are_listed_changes_nothing(those, faults, chance) -> None:  # type: ignore[no-untyped-def]
    first = score(record(*those), faults)
    chance.shuffle(those)
    chance.shuffle(faults)
    again = score(record(*those), faults)
    key = repr
    assert sorted(map(key, again.found)) == sorted(map(key, first.found))
    assert sorted(map(key, again.false)) == sorted(map(key, first.false))
    assert (again.healthy_s, again.disturbed) == (first.healthy_s, first.disturbed)


@settings(max_examples=60, deadline=None)
@given(st.lists(_said, max_size=8), _faults())
def test_each_alarm_is_credited_excused_or_false_and_never_two_of_them(those, faults) -> None:  # type: ignore[no-untyped-def]
    scored = score(record(*those), faults)
    alarms = [s for s in those if s.priority > Priority.JOURNAL]
    judged = [id(f.said) for f in scored.false] + [id(s) for s in scored.consequences]
    assert len(judged) == len(set(judged))
    credited = [s for s in alarms if id(s) not in judged]
    for one in credited:
        assert any(t.onset_ns <= one.found_ns <= t.onset_ns + 600 * NS for t in faults)


def test_an_empty_record_has_no_time() -> None:
    scored = score(Record((), (), (), frozenset(), at(0), at(0)), [])
    assert (scored.recorded_s, scored.healthy_s, scored.found) == (0.0, 0.0, ())
