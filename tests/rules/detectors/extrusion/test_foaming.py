"""Foaming melt is found by a lower pressure that jumps; surges, thinner melt and wiped filters are not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rules.detectors.extrusion.foaming import Foaming
from rules.line import RuleSetting
from tests.rules.detectors.extrusion.days import AT_S, foaming, starved, surging
from tests.rules.detectors.extrusion.made import FACTS, EvenLine, begun_s, judged


def test_is_found_within_five_minutes_with_its_figures():
    began, ended = judged(Foaming, foaming())
    assert AT_S < begun_s([began]) <= AT_S + 180
    assert "The vent stands at 139 mbar, usually at 80 mbar" in began.sentence
    assert began.evidence.figures["unrest against usual"][0] > 1.5
    assert not ended.active


def test_is_found_without_a_vent():
    found = judged(Foaming, foaming(), without=("extruder.vent.1.pressure.pv",))
    assert begun_s(found) <= AT_S + 180
    assert "vent" not in found[0].sentence


def test_a_surge_swings_and_does_not_jump():
    assert judged(Foaming, surging(4.0)) == []


def test_a_thinner_melt_is_calm():
    line = EvenLine()
    line.pressures(0.85, AT_S)
    assert judged(Foaming, line) == []


def test_unrest_at_the_same_pressure_is_no_foam():
    line = EvenLine()
    noise = np.random.default_rng(5).standard_normal(len(line.time_s) - AT_S)
    line.value["filter.outlet.pressure.pv"][AT_S:] += noise
    assert judged(Foaming, line) == []


def test_a_starved_screw_is_another_rules_affair():
    assert judged(Foaming, starved()) == []


def test_beside_a_burdened_vent_less_convinces():
    line = EvenLine()
    noise = np.random.default_rng(5).standard_normal(len(line.time_s) - AT_S)
    line.value["filter.outlet.pressure.pv"][AT_S:] += 0.3 * noise - 1.2
    assert judged(Foaming, line) == []
    line.shift("extruder.vent.1.pressure.pv", 60.0, AT_S)
    assert judged(Foaming, line) != []


def test_the_file_sets_the_numbers():
    facts = replace(FACTS, rules={"foaming": RuleSetting(numbers={"fall_percent": 45.0})})
    assert judged(Foaming, foaming(), facts, without=("extruder.vent.1.pressure.pv",)) == []


@pytest.mark.parametrize("seed", range(5))
def test_an_even_day_does_not_foam(seed: int):
    assert judged(Foaming, EvenLine(seed=seed)) == []
