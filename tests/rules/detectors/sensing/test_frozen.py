"""A reading that no longer moves."""

from __future__ import annotations

import numpy as np
import pytest

from rules.detectors.sensing.frozen import SensorFrozen
from rules.finding import Finding
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.sensing.days import DIE, LEVELS, MELT, frozen, made, running
from tests.rules.detectors.signals import Signals, Staged, every, play, seconds_of, states


def found(signals: Signals) -> list[Finding]:
    return play(Staged.of(SensorFrozen, FACTS, signals), every(signals, 60))


@pytest.mark.parametrize("path", [DIE, MELT])
def test_a_frozen_reading_is_found_and_ends(path: str):
    began, ended = found(frozen(path))
    assert (began.subject, began.active, ended.active) == (path.rsplit(".", 1)[0], True, False)
    assert 1200 <= seconds_of(began.time_ns) <= 1400 and 2000 <= seconds_of(ended.time_ns) <= 2020
    assert "has not moved for 3 min" in began.sentence


def test_running_with_scatter_is_none():
    assert found(made(running(3600))) == []


def test_a_coarse_reading_of_a_steady_process_is_none():
    """One degree a step, and hardly ever another one: it may stand still for long."""
    values = running(5400)
    steps = np.random.default_rng(2).integers(300, 900, 12).cumsum()
    values[MELT] = 221.0 + np.searchsorted(steps, np.arange(5400)) % 2
    assert found(made(values)) == []


def test_nothing_is_said_while_the_line_stands():
    values = running(3600)
    for path in LEVELS:
        values[path][1200:3000] = values[path][1200]
    values["doser.rate.pv"] = np.where((np.arange(3600) >= 1180) & (np.arange(3600) < 3020), 0.0, 640.0)
    values["extruder.screw.speed.pv"] = values["doser.rate.pv"] / 8
    assert found(made(values)) == []


def test_a_value_at_its_end_stop_is_none():
    values = running(2400)
    values[DIE][1200:] = 0.0
    assert found(made(values)) == []


def test_two_that_freeze_are_two_findings():
    values = running(2400)
    for path in (DIE, MELT):
        values[path][1200:] = values[path][1199]
    assert sorted(states(found(made(values)))) == [("die.pressure", True), ("extruder.melt.temp", True)]
