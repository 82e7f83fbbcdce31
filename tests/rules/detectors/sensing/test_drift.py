"""Pressures along the melt that contradict each other."""

from __future__ import annotations

import pytest

from rules.detectors.sensing.drift import SensorDrift
from rules.finding import Finding
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.sensing.days import made, reversed_loss, running
from tests.rules.detectors.signals import Signals, Staged, every, play, seconds_of


def found(signals: Signals) -> list[Finding]:
    return play(Staged.of(SensorDrift, FACTS, signals), every(signals, 60))


def test_a_higher_reading_downstream_is_found_after_five_minutes_and_ends():
    began, ended = found(reversed_loss(3.0))
    assert began.subject == "filter.outlet.pressure" and 1190 <= seconds_of(began.time_ns) <= 1210
    assert "reads 2.9 bar more" in began.sentence and not ended.active


@pytest.mark.parametrize("by_bar", [-2.0, 0.0, 0.5])
def test_a_small_loss_is_none(by_bar: float):
    assert found(reversed_loss(by_bar)) == []


def test_a_short_reversal_is_none():
    assert found(reversed_loss(3.0, 900, 1150)) == []


def test_running_is_none():
    assert found(made(running(2600))) == []
