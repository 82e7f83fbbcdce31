"""How seconds are cut and judged, and what is written down."""

from __future__ import annotations

import json

import pytest

from historian.errors import StoredDataDamaged, WrongInput
from historian.frame import NS
from rules.engine import Engine
from rules.entry import Act, ActKind, Entry, EntryKind
from rules.states import State
from tests.rules.toys import PATHS, T0, Failing, Over, Silent, frame_at, make_detectors, tags_of

S0 = T0 // NS
INLET, PLATE, FLOW = "filter.inlet.pressure", "filter.plate.1.temp", "water.flow"


def engine() -> Engine:
    return Engine(tags_of(), make_detectors)


def act(id: int, what: ActKind = ActKind.SEEN, at_s: float = 0.0, subject: str = INLET) -> Act:
    return Act(id, T0 + round(at_s * NS), "ada", "operator", what, "over", subject, text="words")


def brief(entries: list[Entry]) -> list[tuple[str, str, object]]:
    def what(e: Entry) -> object:
        if e.kind is EntryKind.TRANSITION:
            return e.data["from"] + e.data["to"]
        return e.data["active"] if e.kind is EntryKind.FINDING else ""

    return [(str(e.kind), e.subject, what(e)) for e in entries]


def test_a_second_is_judged_when_it_is_over_and_not_before() -> None:
    it = engine()
    it.feed(1, frame_at(0.2, (1, 0.1, 60.0)))
    it.feed(2, frame_at(0.9, (1, 0.8, 61.0)))
    assert it.advance(T0 + NS - 1) == [] and it.seq == 0
    entries = it.advance(T0 + NS)
    assert brief(entries) == [("finding", INLET, True), ("transition", INLET, "AB")]
    assert it.seq == 2
    assert [e.time_ns for e in entries] == [T0 + 100_000_000, T0 + NS]
    assert [e.key for e in entries] == [f"{S0}/finding/over/{INLET}/0", f"{S0}/transition/over/{INLET}/0"]
    assert [e.second for e in entries] == [S0, S0]
    assert it.advance(T0 + 2 * NS) == []


def test_a_frame_of_a_later_second_judges_the_one_before() -> None:
    it = engine()
    it.feed(1, frame_at(0.2, (1, 0.1, 60.0)))
    it.feed(2, frame_at(1.0))
    assert it.seq == 1
    assert len(it.advance(0)) == 2


def test_empty_seconds_are_judged_once_the_next_frame_shows_that_the_recorder_ran() -> None:
    it = engine()
    it.feed(1, frame_at(0.0, (3, 0.0, 1.0)))
    assert it.advance(T0 + 9 * NS) == []
    it.feed(2, frame_at(9.5))
    entries = it.advance(0)
    assert brief(entries) == [("finding", FLOW, True), ("transition", FLOW, "AB")]
    assert entries[1].time_ns == T0 + 4 * NS


def test_after_more_than_ten_seconds_the_recorder_was_not_running() -> None:
    it = engine()
    it.feed(1, frame_at(0.0, (3, 0.0, 1.0)))
    it.feed(2, frame_at(10.001, (3, 10.0, 1.0)))
    assert it.advance(T0 + 20 * NS) == []
    assert it.save()["second"] == S0 + 10
    live = it.save()["live"]
    assert live[2]["state"]["quiet_s"] == 0


def test_how_often_advance_is_called_changes_nothing() -> None:
    frames = [frame_at(t, (3, t, 1.0)) for t in (0.0, 0.4, 4.0, 4.1, 12.0, 40.0, 41.0)]
    results = []
    for often in (False, True):
        it, found = engine(), []
        for seq, frame in enumerate(frames, start=1):
            it.feed(seq, frame)
            if often:
                found += it.advance(frame.arrival_ns)
                found += it.advance(frame.arrival_ns + 300_000_000)
        results.append(found + it.advance(T0 + 60 * NS))
    assert results[0] == results[1] != []


def test_frames_that_were_fed_already_are_passed_over() -> None:
    it = engine()
    for _ in range(2):
        it.feed(1, frame_at(0.2, (1, 0.1, 60.0)))
    assert len(it.advance(T0 + NS)) == 2
    it.feed(1, frame_at(1.2, (1, 1.1, 10.0)))
    assert it.advance(T0 + 9 * NS) == []


def test_late_samples_give_a_finding_that_is_late_and_no_alarm() -> None:
    it = engine()
    it.feed(1, frame_at(5.0, (1, 5.0, 10.0)))
    it.feed(2, frame_at(6.0, (1, 3.0, 60.0)))
    (found,) = it.advance(T0 + 7 * NS)
    assert (found.kind, found.data["late"], found.time_ns) == (EntryKind.FINDING, True, T0 + 3 * NS)
    assert it.lifecycle.state("over", INLET) is State.NORMAL


def test_bad_samples_are_no_number_in_the_journal() -> None:
    it = engine()
    it.feed(1, frame_at(0.2, (1, 0.1, float("nan")), (1, 0.2, 60.0)))
    entries = it.advance(T0 + NS)
    assert json.loads(json.dumps([e.data for e in entries], allow_nan=False))[0]["active"] is True


def test_an_act_is_taken_in_the_next_second_after_its_findings() -> None:
    it = engine()
    it.act(act(1, at_s=0.5))
    it.feed(1, frame_at(0.2, (1, 0.1, 60.0)))
    entries = it.advance(T0 + NS)
    assert brief(entries)[1:] == [
        ("transition", INLET, "AB"),
        ("act-taken", INLET, ""),
        ("transition", INLET, "BC"),
    ]
    assert (entries[2].data, entries[2].second) == ({"act": 1}, S0)
    assert (entries[3].by, entries[3].data["act"]) == ("ada", 1)


def test_an_act_waits_for_its_own_second_and_for_what_is_journaled() -> None:
    it = engine()
    it.hold_acts(S0 + 3)
    it.act(act(1, ActKind.NOTE, at_s=0.0))
    it.act(act(2, ActKind.NOTE, at_s=5.5))
    for second in range(8):
        it.feed(second + 1, frame_at(second + 0.5, (3, second, 1.0)))
    taken = [(e.data["act"], e.second) for e in it.advance(T0 + 8 * NS) if e.kind is EntryKind.ACT_TAKEN]
    assert taken == [(1, S0 + 3), (2, S0 + 5)]


def test_an_act_is_taken_once_however_often_it_is_handed_over() -> None:
    it = engine()
    it.schedule(act(1, ActKind.NOTE), S0 + 1)
    for second in range(4):
        it.act(act(1, ActKind.NOTE))
        it.schedule(act(1, ActKind.NOTE), S0 + 2)
        it.feed(second + 1, frame_at(second + 0.5, (3, second, 1.0)))
    entries = it.advance(T0 + 4 * NS)
    assert [e.second for e in entries] == [S0 + 1]


def test_an_act_without_a_number_is_wrong_input() -> None:
    with pytest.raises(WrongInput, match="no number"):
        engine().act(act(0))


def test_a_refused_act_says_why() -> None:
    it = engine()
    it.act(act(4))
    it.feed(1, frame_at(0.2))
    taken, refused = it.advance(T0 + NS)
    assert (taken.kind, refused.kind, refused.by) == (EntryKind.ACT_TAKEN, EntryKind.REFUSED, "ada")
    assert refused.data["act"] == 4 and "ever been raised" in refused.data["reason"]


def test_a_rule_that_fails_is_named_with_its_tags_and_the_others_go_on() -> None:
    it = Engine(tags_of(), lambda: [Failing(PATHS[2], 1), Over(PATHS[0], 50, 0)])
    it.feed(1, frame_at(0.2, (3, 0.1, 13.0), (1, 0.1, 60.0)))
    event, *rest = it.advance(T0 + NS)
    assert (event.kind, event.rule, event.data["kind"]) == (EntryKind.EVENT, "failing", "rule-stopped")
    assert "ZeroDivisionError: thirteen" in event.data["text"]
    assert event.data["data"]["tags"] == [PATHS[0], PATHS[2]]
    assert brief(rest) == [("finding", INLET, True), ("transition", INLET, "AB")]
    it.feed(2, frame_at(1.2, (3, 1.1, 13.0)))
    assert it.advance(T0 + 2 * NS) == []


def test_a_straggler_is_told_and_judged_with_the_next_second() -> None:
    it = engine()
    it.feed(1, frame_at(0.2, (1, 0.1, 10.0)))
    it.advance(T0 + NS)
    it.feed(2, frame_at(0.9, (1, 0.8, 60.0)))
    told, found, _ = it.advance(T0 + 2 * NS)
    assert told.data["kind"] == "frame-straggled" and found.second == S0 + 1


def test_arrival_that_falls_is_held_at_the_last_one() -> None:
    it = engine()
    it.feed(1, frame_at(5.2, (1, 5.1, 10.0)))
    it.feed(2, frame_at(4.2, (1, 5.15, 60.0)))
    assert [e.second for e in it.advance(T0 + 6 * NS)] == [S0 + 5, S0 + 5]


def test_a_clock_set_back_begins_anew_and_alarms_again_if_it_still_holds() -> None:
    it = engine()
    it.feed(1, frame_at(7200.1, (1, 7200.0, 60.0)))
    it.feed(2, frame_at(7201.1, (1, 3601.0, 61.0), epoch=1))
    entries = it.advance(T0 + 7202 * NS)
    assert brief(entries[3:]) == [
        ("transition", INLET, "BD"),
        ("finding", INLET, True),
        ("transition", INLET, "DB"),
    ]
    assert entries[2].data["kind"] == "clock-set-back"


def test_saved_state_is_json_and_of_one_version() -> None:
    it = engine()
    it.feed(1, frame_at(0.2, (1, 0.1, 60.0)))
    it.feed(2, frame_at(1.2, (1, 0.05, 60.0)))
    it.feed(3, frame_at(2.2, (1, 2.1, 60.0)))
    state = json.loads(json.dumps(it.save(), allow_nan=False))
    again = engine()
    again.restore(state)
    assert again.save() == it.save() and again.seq == 2
    with pytest.raises(StoredDataDamaged, match="from the start"):
        engine().restore({**state, "version": 99})


def test_a_rule_whose_saved_state_does_not_fit_is_named() -> None:
    it = engine()
    it.feed(1, frame_at(0.2, (1, 0.1, 60.0)))
    it.advance(T0 + NS)
    state = it.save()
    state["live"][2]["state"] = {}
    again = engine()
    again.restore(state)
    (told,) = again.advance(0)
    assert told.rule == Silent.rule and "does not fit" in told.data["text"]
