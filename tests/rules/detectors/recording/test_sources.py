"""A source that is lost is found and found again; a pause of the recorder is told once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from historian.catalogue import canonical_tag
from historian.frame import NS, Series
from historian.quality import GOOD, NO_COMMUNICATION, NO_DATA, SENSOR_FAILURE
from historian.tags import Tag, TagKind
from rules.block import Block
from rules.detectors.recording import HEARTBEAT
from rules.detectors.recording.sources import RecordingGap, SourceSilent
from rules.finding import Finding, Priority
from rules.line import LineFacts
from tests.rules.detectors.signals import T0_NS, play, seconds_of, series, tags_of

FACTS = LineFacts("test line")
PATHS = [f"filter.plate.{n}.temp.pv" for n in range(1, 7)]
TAGS = {**tags_of(PATHS, "filter-plc"), **tags_of(["water.flow.pv"], "water")}


def at(second: float, values: dict[str, int]) -> Block:
    """One sample each at a second, with their qualities."""
    return Block({p: series([second], 220.0, q) for p, q in values.items()}, T0_NS + round(second * NS))


def run(detector: SourceSilent, second_by_second: dict[int, dict[str, int]], until: int) -> list[Finding]:
    found: list[Finding] = []
    for second in range(until):
        if second in second_by_second:
            found.extend(detector.update(at(second, second_by_second[second])))
        found.extend(detector.advance(T0_NS + (second + 1) * NS))
    return found


def test_a_source_all_of_whose_signals_are_without_data_is_lost():
    lost = dict.fromkeys(PATHS, NO_COMMUNICATION)
    days = {s: dict.fromkeys(PATHS, GOOD) for s in range(10)} | {10: lost} | {30: dict.fromkeys(PATHS, GOOD)}
    began, ended = run(SourceSilent(FACTS, TAGS), days, 60)[:2]
    assert (began.subject, began.active, began.priority) == ("source.filter-plc", True, Priority.MEDIUM)
    assert 15 <= seconds_of(began.time_ns) <= 17
    assert "all six signals are without data" in began.sentence
    assert (ended.active, ended.sentence) == (False, "Source filter-plc delivers again.")
    assert seconds_of(ended.time_ns) == 30


def test_a_broken_sensor_or_one_signal_without_data_is_no_lost_source():
    good = dict.fromkeys(PATHS, GOOD)
    for other in (dict.fromkeys(PATHS, SENSOR_FAILURE), {**good, PATHS[0]: NO_DATA}):
        days = dict.fromkeys(range(10), good) | dict.fromkeys(range(10, 25), other)
        assert run(SourceSilent(FACTS, {p: TAGS[p] for p in PATHS}), days, 25) == []


def test_what_a_lot_was_silent_for_at_its_end_counts_too():
    """Lots of ten seconds: in the last one that brings anything the samples end seven seconds before it does."""
    detector, found = SourceSilent(FACTS, {p: TAGS[p] for p in PATHS}), []
    for end in range(10, 101, 10):
        last_s = min(end, 53) - 0.5
        if last_s > end - 10:
            seconds = np.arange(end - 10.0, last_s + 0.1, 0.5)
            lot = Block({p: series(seconds, 220.0) for p in PATHS}, T0_NS + end * NS)
            found.extend(detector.update(lot))
        for second in range(end - 9, end + 1):
            found.extend(detector.advance(T0_NS + second * NS))
    (began,) = found
    assert 83 <= seconds_of(began.time_ns) <= 84
    assert 52 <= seconds_of(began.onset_ns) <= 54


def test_a_clock_that_is_set_back_makes_no_silence():
    """From one lot to the next an hour back: its samples come as ever."""
    detector, found = SourceSilent(FACTS, {p: TAGS[p] for p in PATHS}), []
    for end in range(10, 201, 10):
        back_s = 3600.0 if end > 100 else 0.0
        seconds = np.arange(end - 10.0, end, 0.5) - back_s
        lot = Block({p: series(seconds, 220.0) for p in PATHS}, T0_NS + end * NS)
        found.extend(detector.update(lot))
        for second in range(end - 9, end + 1):
            found.extend(detector.advance(T0_NS + second * NS))
    assert found == []


def test_a_source_from_which_nothing_comes_is_silent():
    days = {s: dict.fromkeys(PATHS, GOOD) for s in range(10)}
    (began,) = run(SourceSilent(FACTS, {p: TAGS[p] for p in PATHS}), days, 60)
    assert 39 <= seconds_of(began.time_ns) <= 41
    assert began.sentence.startswith("Nothing has come from source filter-plc for 3")


def test_a_source_of_few_signals_may_be_still_as_long_as_its_value_is_repeated():
    only = {"water.flow.pv": TAGS["water.flow.pv"]}
    days = {s: {"water.flow.pv": GOOD} for s in range(0, 240, 60)}
    assert run(SourceSilent(FACTS, only), days, 240) == []
    assert len(run(SourceSilent(FACTS, only), days, 300)) == 1


def test_a_source_that_never_came_is_silent_too():
    (began,) = run(SourceSilent(FACTS, {p: TAGS[p] for p in PATHS}), {}, 60)
    assert 31 <= seconds_of(began.time_ns) <= 33


def test_a_pause_of_the_recorder_itself_is_no_silence():
    detector = SourceSilent(FACTS, {p: TAGS[p] for p in PATHS})
    assert run(detector, {s: dict.fromkeys(PATHS, GOOD) for s in range(10)}, 10) == []
    later = T0_NS + 3600 * NS
    assert [f for s in range(25) for f in detector.advance(later + s * NS)] == []
    assert len([f for s in range(25, 40) for f in detector.advance(later + s * NS)]) == 1


def test_the_recorders_own_tags_are_no_source():
    heartbeat = Tag(HEARTBEAT, "1", TagKind.BOOLEAN, source="edge", id=9)
    computed = replace(canonical_tag("filter.dp.calc"), id=10)
    assert run(SourceSilent(FACTS, {HEARTBEAT: heartbeat, "filter.dp.calc": computed}), {}, 60) == []


def beats(time_s: np.ndarray, value: float | np.ndarray = 1.0) -> Block:  # type: ignore[type-arg]
    one: Series = series(time_s, value)
    return Block({HEARTBEAT: one}, int(one.time_ns[-1]))


def test_a_power_cut_is_told_once():
    detector = RecordingGap(FACTS, {})
    found = play(detector, [beats(np.arange(0, 10)), beats(np.arange(130, 140)), beats(np.arange(140, 145))])
    (gap,) = found
    assert (gap.momentary, gap.priority, gap.rule) == (True, Priority.LOW, "recording-gap")
    assert (seconds_of(gap.onset_ns), seconds_of(gap.time_ns)) == (9, 130)
    assert gap.evidence.figures == {"without record": (121.0, "s")}
    assert gap.sentence.endswith("UTC: power or the recorder was gone.")


def test_a_stop_in_order_is_an_entry_only():
    (gap,) = play(
        RecordingGap(FACTS, {}), [beats(np.arange(0, 3), np.array([1, 1, 0])), beats(np.arange(60, 62))]
    )
    assert gap.priority is Priority.JOURNAL and "stopped in order" in gap.sentence


def test_a_short_pause_and_a_repeated_heartbeat_are_no_gap():
    assert play(RecordingGap(FACTS, {}), [beats(np.array([0.0, 1, 6])), beats(np.array([5.0, 6, 7]))]) == []


def test_a_gap_over_a_restart_of_the_judge_is_told():
    first, second = RecordingGap(FACTS, {}), RecordingGap(FACTS, {})
    play(first, [beats(np.arange(0, 5))])
    second.restore(first.save())
    assert len(play(second, [beats(np.arange(60, 65))])) == 1
