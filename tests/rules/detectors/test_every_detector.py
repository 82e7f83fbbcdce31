"""What holds for every detector: cuts between blocks and restarts change nothing; its state is JSON."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.frame import NS, Series
from historian.quality import NO_DATA
from historian.tags import Tag, TagKind
from rules.detector import Detector
from rules.detectors.recording import HEARTBEAT
from rules.finding import Finding
from rules.line import LineFacts
from rules.table import RULES
from tests.rules.detectors.extrusion import days as extrusion
from tests.rules.detectors.filtering import days as filtering
from tests.rules.detectors.heating import days as heating
from tests.rules.detectors.pelletizing import days as pelletizing
from tests.rules.detectors.plants import FACTS, NOMINAL_A, Filter, Plates
from tests.rules.detectors.recording import days as recording
from tests.rules.detectors.sensing import days as sensing
from tests.rules.detectors.signals import (
    Staged,
    cut,
    every,
    play,
    play_with_restarts,
    seconds_of,
    series,
    tags_of,
)

DURATION_S = 2600
BLOCK_S = 20


@cache
def day() -> dict[str, Series]:
    """Forty-three minutes with something for every rule: a blinded screen, an open plate, a skipped cleaning."""
    plates = Plates(DURATION_S)
    plates.open(5, at_s=800, until_s=1300)
    assert plates.current[5, 0] == NOMINAL_A
    screen = Filter(20, rise=0.03, period_s=130, scatter_bar=0.1)
    screen.wiper[2200:2400] = 0.0
    screen.dp[2200:2400] = np.maximum(screen.dp[2200:2400], 50.0)
    lost = (np.arange(DURATION_S) > 1800) & (np.arange(DURATION_S) < 1860)
    signals = {**plates.made(), **screen.made()}
    signals["water.flow.pv"] = series(np.arange(DURATION_S), 22.0, np.where(lost, NO_DATA, 0))
    beats = np.concatenate((np.arange(0, 1000), np.arange(1020, DURATION_S)))
    signals[HEARTBEAT] = series(beats, 1.0)
    return signals


def tags() -> dict[str, Tag]:
    known = {p: t for p, t in tags_of(day()).items() if p != HEARTBEAT}
    water = {"water.flow.pv": Tag("water.flow.pv", "m3/h", source="water", id=998)}
    return {**known, **water, HEARTBEAT: Tag(HEARTBEAT, "1", TagKind.BOOLEAN, source="edge", id=999)}


DAYS: Mapping[str, Callable[[], tuple[LineFacts, Mapping[str, Series]]]] = {
    **dict.fromkeys(("heater-power", "pressure-creep", "cleaning-overdue"), lambda: (FACTS, day())),
    **dict.fromkeys(("source-silent", "recording-gap"), lambda: (FACTS, day())),
    **heating.DAYS,
    **filtering.DAYS,
    **extrusion.DAYS,
    **pelletizing.DAYS,
    **sensing.DAYS,
    **recording.DAYS,
}
"""A day for every rule on which it has something to say."""

# These wait for a person's word, or judge by arrival alone; their own tests play them.
NOT_PLAYED = {"pressure-zero", "clock-off"}
PLAYED = [r for r in RULES if r not in NOT_PLAYED]


def test_every_rule_has_a_day():
    assert set(DAYS) == set(PLAYED)


@cache
def own_day(rule: str) -> tuple[LineFacts, Mapping[str, Series]]:
    return DAYS[rule]()


def signals_of(rule: str) -> Mapping[str, Series]:
    return own_day(rule)[1]


def last_s(rule: str) -> float:
    return max(seconds_of(int(s.time_ns[-1])) for s in signals_of(rule).values())


def maker(rule: str) -> Callable[[], Detector]:
    facts, signals = own_day(rule)
    known = tags() if signals.keys() == day().keys() else tags_of(signals)
    return lambda: Staged.picked(rule, facts, known)


@cache
def said(rule: str) -> list[Finding]:
    return play(maker(rule)(), every(signals_of(rule), BLOCK_S))


@pytest.mark.parametrize("rule", PLAYED)
def test_every_rule_has_something_to_say_of_the_day(rule: str):
    assert said(rule)


# Sources are judged by arrival, so their findings do follow the blocks.
BY_SOURCE_TIME = [r for r in PLAYED if r != "source-silent"]


@pytest.mark.parametrize("rule", BY_SOURCE_TIME)
@settings(max_examples=5, deadline=None)
@given(cuts=st.lists(st.floats(0, 1), max_size=60))
def test_how_blocks_are_cut_changes_no_finding(rule: str, cuts: list[float]):
    assert play(maker(rule)(), cut(signals_of(rule), [c * last_s(rule) for c in cuts])) == said(rule)


@pytest.mark.parametrize("rule", PLAYED)
@settings(max_examples=5, deadline=None)
@given(data=st.data())
def test_a_restart_anywhere_changes_no_finding(rule: str, data: st.DataObject):
    blocks = every(signals_of(rule), BLOCK_S)
    at = data.draw(st.sets(st.integers(0, len(blocks) - 1), max_size=12))
    assert play_with_restarts(maker(rule), blocks, at) == said(rule)


@pytest.mark.parametrize("rule", BY_SOURCE_TIME)
def test_second_by_second_is_the_same(rule: str):
    live = [*range(0, 780, BLOCK_S), *range(780, 1060), *range(1060, 2180, BLOCK_S), *range(2180, 2300)]
    assert play(maker(rule)(), cut(signals_of(rule), live)) == said(rule)


@pytest.mark.parametrize("rule", PLAYED)
def test_a_shift_of_all_clocks_shifts_the_findings_and_changes_nothing_else(rule: str):
    shift = 86_400 * 365 * NS
    moved = {p: Series(s.time_ns + shift, s.value, s.quality) for p, s in signals_of(rule).items()}
    again = play(
        maker(rule)(), cut(moved, np.arange(shift / NS, shift / NS + last_s(rule), BLOCK_S).tolist())
    )
    assert [(f.time_ns - shift, f.subject, f.active, f.priority) for f in again] == [
        (f.time_ns, f.subject, f.active, f.priority) for f in said(rule)
    ]


@pytest.mark.parametrize("rule", PLAYED)
def test_findings_and_state_are_json(rule: str):
    detector = maker(rule)()
    for finding in play(detector, every(signals_of(rule), 60)):
        json.dumps(finding.to_json(), allow_nan=False)
        assert finding.rule == rule
        assert finding.evidence.start_ns <= finding.evidence.end_ns <= finding.time_ns
        assert finding.onset_ns <= finding.time_ns
    json.dumps(detector.save(), allow_nan=False)


@pytest.mark.parametrize(
    "rule",
    [r for r in PLAYED if r not in ("source-silent", "recording-gap", "samples-missing", "sensor-failed")],
)
def test_nothing_is_said_of_bad_samples(rule: str):
    dark = {p: Series.of(s.time_ns, s.value, NO_DATA) for p, s in signals_of(rule).items()}
    assert play(maker(rule)(), every(dark, 60)) == []
