"""A melt temperature that leaps is a sensor's; one that moves as steel does is the melt's."""

from __future__ import annotations

import json

import numpy as np
import pytest

from rules.detectors.sensing.drift import SensorDrift
from rules.detectors.sensing.leap import Leap
from rules.finding import Finding
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.sensing.days import MELT, made, running
from tests.rules.detectors.signals import Floats, Staged, every, play, seconds_of


def found(values: dict[str, Floats]) -> list[Finding]:
    signals = made(values)
    return [
        f for f in play(Staged.of(SensorDrift, FACTS, signals), every(signals, 60)) if "melt" in f.subject
    ]


@pytest.mark.parametrize("by_k", [20.0, -20.0, 44.0])
def test_a_leap_is_found_within_half_a_minute_and_ends_when_it_is_back(by_k: float):
    values = running(2600)
    values[MELT][1203:2000] += by_k
    began, ended = found(values)
    assert began.subject == "extruder.melt.temp" and began.active and not ended.active
    assert 1203 <= seconds_of(began.time_ns) <= 1240
    assert began.evidence.figures["before"][0] == pytest.approx(221.0, abs=1.0)
    assert began.evidence.figures["reads"][0] == pytest.approx(221.0 + by_k, abs=1.0)
    assert "leapt" in began.sentence and "How warm it is, is not known" in began.sentence
    assert 2000 <= seconds_of(ended.time_ns) <= 2020


@pytest.mark.parametrize("within_s", [120, 600])
def test_what_warms_with_the_steel_is_melt(within_s: int):
    values = running(2600)
    values[MELT] += np.interp(np.arange(2600), [1200, 1200 + within_s], [0.0, 20.0])
    assert found(values) == []


def test_a_leap_while_melt_stands_is_not_judged():
    values = running(2600)
    values[MELT][1200:] += 20.0
    values["doser.rate.pv"] = np.where(np.arange(2600) < 900, 640.0, 0.0)
    values["extruder.screw.speed.pv"] = values["doser.rate.pv"] / 8
    assert found(values) == []


def test_a_gap_forgets_and_a_restart_changes_nothing():
    leap = Leap(8.0)
    said = []
    for cel in [220.0, 220.0, None, 240.0, 240.0, 240.0, 250.0, 260.0, 260.0, 241.0]:
        said.append(leap.judge(cel))
        again = Leap(8.0)
        again.restore(json.loads(json.dumps(leap.save())))
        leap = again
    assert said == [0, 0, 0, 0, 0, 0, 0, 0, 1, -1]
