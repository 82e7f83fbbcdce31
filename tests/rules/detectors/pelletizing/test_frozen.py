"""Frozen holes are found by pressure at flow; stiffer melt, more feed and cleanings are not taken for them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rules.detectors.pelletizing.frozen import DieFrozen
from rules.line import RuleSetting
from tests.rules.detectors.extrusion.days import AT_S
from tests.rules.detectors.extrusion.made import FACTS, EvenLine, begun_s, judged
from tests.rules.detectors.pelletizing.days import frozen


def test_is_found_within_three_minutes():
    began, ended = judged(DieFrozen, frozen())
    assert AT_S < begun_s([began]) <= AT_S + 180
    assert began.evidence.figures["usual at this flow"][0] == pytest.approx(60.6, abs=0.5)
    assert "holes of the die may be frozen" in began.sentence
    assert not ended.active


def test_a_stiffer_melt_raises_the_loss_in_the_pipe_as_well():
    line = EvenLine()
    since = line.time_s[AT_S:] - AT_S
    line.pressures(1 + 0.25 * (1 - np.exp(-since / 180)), AT_S)
    assert judged(DieFrozen, line) == []


@pytest.mark.parametrize("frozen_holes", [True, False])
def test_where_a_pump_makes_the_pressure_the_pipe_after_the_filter_tells(frozen_holes: bool):
    """A pump holds the pressure before it: a stiffer melt is seen only between filter and die."""
    line = frozen() if frozen_holes else EvenLine()
    if not frozen_holes:
        line.pressures(1 + 0.25 * (1 - np.exp(-(line.time_s[AT_S:] - AT_S) / 180)), AT_S)
    line.value["pump.outlet.pressure.pv"] = line.value["filter.inlet.pressure.pv"] + 0.2
    chance = np.random.default_rng(7)
    line.value["extruder.head.pressure.pv"] = 40.0 + 0.3 * chance.standard_normal(len(line.time_s))
    found = judged(DieFrozen, line)
    assert bool(found) is frozen_holes
    if frozen_holes:
        assert AT_S < begun_s(found[:1]) <= AT_S + 180


def test_more_feed_needs_more_pressure():
    line = EvenLine()
    for path in ("doser.rate.pv", "doser.rate.sp"):
        line.scale(path, 1.3, AT_S)
    line.pressures(1.3**0.4, AT_S + 75)
    assert judged(DieFrozen, line) == []


@pytest.mark.parametrize("open_share", [1.0, 0.7])
def test_a_start_is_judged_by_the_run_before(open_share: float):
    """Pressure after a stop: as ever, or that of three holes in ten frozen, (1-f)^-n with n = 0.42."""
    line = EvenLine(3600)
    part = slice(1800, 2400)
    for path in ("doser.rate.pv", "doser.rate.sp", "extruder.screw.speed.pv", "die.pressure.pv"):
        line.value[path][part] = 0.0
    for path in ("filter.outlet.pressure.pv", "filter.dp.calc"):
        line.value[path][part] = 0.0
    since = line.time_s[2400:] - 2400
    filling = np.clip(since / 150, 0.0, 1.0) ** 0.42
    line.value["filter.outlet.pressure.pv"][2400:] *= filling * open_share**-0.42
    found = judged(DieFrozen, line)
    if open_share == 1.0:
        assert found == []
    else:
        assert 2400 < begun_s(found) <= 2400 + 240


def test_thin_melt_for_a_while_does_not_make_sound_melt_look_frozen():
    line = EvenLine(3600)
    line.pressures(0.88, 1500, 2700)
    assert judged(DieFrozen, line) == []


def test_a_cold_die_convinces_sooner():
    line = EvenLine()
    line.scale("filter.outlet.pressure.pv", 1.06, AT_S)
    assert judged(DieFrozen, line) == []
    line.shift("die.zone.1.temp.pv", -15.0, AT_S)
    found = judged(DieFrozen, line)
    assert "The die reads 210 Cel, 225 Cel are set" in found[0].sentence


def test_the_file_sets_the_numbers():
    facts = replace(FACTS, rules={"die-frozen": RuleSetting(numbers={"rise_percent": 30.0})})
    assert judged(DieFrozen, frozen(), facts) == []


@pytest.mark.parametrize("seed", range(5))
def test_an_even_day_says_nothing(seed: int):
    assert judged(DieFrozen, EvenLine(seed=seed)) == []
