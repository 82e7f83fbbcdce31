"""Clocks of sources that are off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from historian.frame import NS, Frame
from historian.tags import Tag
from rules.block import Block
from rules.detectors.recording.clocks import ClockOff, offset_path
from rules.detectors.recording.sources import SourceSilent
from rules.engine import Engine
from rules.entry import EntryKind
from rules.finding import Finding, Priority
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.signals import T0_NS, seconds_of, series, tags_of

DP, FLOW, FEED = "filter.dp.calc", "water.flow.pv", "doser.rate.pv"
SOURCES = {DP: "filter", FLOW: "pelletizer", FEED: "extruder"}
TAGS = {p: replace(t, source=SOURCES[p]) for p, t in tags_of(SOURCES).items()}


def found(
    ahead_s: Mapping[str, float], from_s: int = 60, until_s: int = 180, end_s: int = 300
) -> list[Finding]:
    """Three sources, a sample a second each; some clocks are off for a while."""
    rule, said = ClockOff(FACTS, TAGS), []
    for second in range(end_s):
        off = ahead_s if from_s <= second < until_s else {}
        parts = {p: series([second - 0.3 + off.get(s, 0.0)], 1.0) for p, s in SOURCES.items()}
        block = Block(parts, T0_NS + second * NS)
        said += [*rule.update(block), *rule.advance(block.arrival_ns)]
    return list(said)


def test_seven_seconds_ahead_is_of_medium_priority_within_a_minute_and_ends():
    """common practice, no source: a minute."""
    began, ended = found({"pelletizer": 7.2})
    assert (began.subject, began.priority) == ("source.pelletizer", Priority.MEDIUM)
    assert 60 <= seconds_of(began.time_ns) <= 120 and not ended.active
    assert "6.9 s ahead" in began.sentence


def test_two_seconds_ahead_is_of_low_priority():
    began, _ = found({"pelletizer": 2.0})
    assert began.priority is Priority.LOW


@pytest.mark.parametrize("ahead_s", [0.0, 0.8, -2.0])
def test_what_a_network_may_do_is_none(ahead_s: float):
    assert found({"pelletizer": ahead_s}) == []


def test_behind_cannot_be_told_from_late_and_says_so():
    began, _ = found({"filter": -8.0}, 60, 240, 400)
    assert began.subject == "source.filter" and "which one is not known" in began.sentence
    assert began.priority is Priority.LOW


@pytest.mark.parametrize(("ahead_s", "words"), [(3600.0, "1 h ahead"), (7200.0, "2 h ahead")])
def test_whole_hours_are_summer_or_local_time(ahead_s: float, words: str):
    began, _ = found({"extruder": ahead_s})
    assert words in began.sentence and "for UTC" in began.sentence


def test_sources_that_all_count_time_of_their_own_are_none():
    assert found(dict.fromkeys(SOURCES.values(), 5000.0)) == []


def test_what_the_recorder_knows_of_a_clock_is_gone_by():
    path = offset_path("pelletizer")
    tags = {**TAGS, path: Tag(path, "s", source="edge", id=99)}
    rule, said = ClockOff(FACTS, tags), []
    for second in range(0, 300, 10):
        offset_s = 1.6 if 60 <= second < 180 else 0.02
        parts = {p: series(np.asarray([second - 0.3]), 1.0) for p in SOURCES}
        block = Block({**parts, path: series([second], offset_s)}, T0_NS + second * NS)
        said += [*rule.update(block), *rule.advance(block.arrival_ns)]
    began, ended = said
    assert began.active and "1.6 s ahead" in began.sentence and not ended.active


@pytest.mark.parametrize("lot_s", [1, 10])
def test_a_clock_that_is_set_back_by_a_minute_is_off_within_a_minute_and_its_source_is_not_silent(lot_s: int):
    """Its times come a second time, so they are late; common practice, no source: a minute."""
    tags = {p: replace(t, id=n) for n, (p, t) in enumerate(TAGS.items(), start=1)}
    engine = Engine(tags, lambda: [ClockOff(FACTS, tags), SourceSilent(FACTS, tags)])
    said = []
    for n, begin in enumerate(range(0, 300, lot_s)):
        rows = [
            (t.id, begin + k - 0.3 - (60.0 if t.source == "filter" and begin + k >= 120 else 0.0))
            for k in range(lot_s)
            for t in tags.values()
        ]
        time_ns = [T0_NS + round(s * NS) for _, s in rows]
        number = [i for i, _ in rows]
        arrival_ns = T0_NS + (begin + lot_s - 1) * NS
        frame = Frame.of(number, time_ns, [1.0] * len(rows), [0] * len(rows), arrival_ns=arrival_ns)
        engine.feed(n + 1, frame)
        said += engine.advance(arrival_ns + NS)
    findings = [e for e in said if e.kind is EntryKind.FINDING]
    assert {(e.rule, e.subject) for e in findings} == {("clock-off", "source.filter")}
    assert seconds_of(findings[0].time_ns) <= 180
