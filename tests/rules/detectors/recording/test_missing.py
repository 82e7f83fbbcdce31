"""Signals that come with holes."""

from __future__ import annotations

import numpy as np
import pytest

from rules.detectors.recording.missing import SamplesMissing
from rules.finding import Finding
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.recording.days import with_holes
from tests.rules.detectors.sensing.days import INLET, made, running
from tests.rules.detectors.signals import Signals, every, play, seconds_of, series, tags_of


def found(signals: Signals) -> list[Finding]:
    return play(SamplesMissing(FACTS, tags_of(signals)), every(signals, 60))


@pytest.mark.parametrize("share", [0.5, 0.8, 1.0])
def test_holes_are_found_within_35_seconds_and_the_signal_is_named(share: float):
    """common practice, no source: 35 s."""
    began, ended = found(with_holes(share))
    assert 900 < seconds_of(began.time_ns) <= 935 and 1500 <= seconds_of(ended.time_ns) <= 1580
    assert INLET in began.sentence and began.subject == "source.plc" and began.evidence.tags == (INLET,)


@pytest.mark.parametrize("share", [0.0, 0.01, 0.05])
def test_a_sample_that_is_missing_now_and_then_is_none(share: float):
    assert found(with_holes(share, 300, 2000)) == []


def test_a_source_that_is_silent_as_a_whole_is_another_rules_affair():
    second = np.delete(np.arange(2000), slice(905, 1200))
    whole = made(running(2000))
    assert found({p: series(second, s.value[second]) for p, s in whole.items()}) == []


def test_a_signal_that_is_sent_when_it_changes_is_not_judged():
    signals = made(running(2000))
    times = np.cumsum(np.random.default_rng(1).integers(1, 60, 60))
    assert found({**signals, "water.tank.level.pv": series(times, 1.0)}) == []
