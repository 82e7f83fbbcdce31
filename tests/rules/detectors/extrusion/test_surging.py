"""A regular wave is found; broad unrest, cleanings and slow waves are not taken for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.detectors.extrusion.surging import Surging
from rules.line import RuleSetting
from tests.rules.detectors.extrusion.days import AT_S, foaming, surging
from tests.rules.detectors.extrusion.made import FACTS, EvenLine, begun_s, judged


@pytest.mark.parametrize("period_s", [11.0, 24.0, 36.0])
def test_is_found_within_ten_minutes_with_its_period(period_s: float):
    found = judged(Surging, surging(period_s=period_s))
    assert AT_S < begun_s(found) <= AT_S + 300
    assert found[0].evidence.figures["period"][0] == pytest.approx(period_s, rel=0.06)
    assert f"every {found[0].evidence.figures['period'][0]:.0f} s" in found[0].sentence
    assert not found[-1].active


def test_broad_unrest_is_no_wave():
    assert judged(Surging, foaming()) == []


def test_the_screws_own_ripple_seen_once_a_second_is_no_wave():
    """At 122 turns a minute a ripple of 0.49 s looks like one of 30 s (derived: 1/(2.033 - 2) s)."""
    line = EvenLine()
    for path in ("extruder.screw.speed.pv", "extruder.screw.speed.sp"):
        line.value[path][:] = 122.0
    line.pressures(1 + 0.02 * np.sin(2 * np.pi * line.time_s * 122 / 60), 0)
    assert judged(Surging, line) == []
    line = EvenLine()
    line.pressures(1 + 0.02 * np.sin(2 * np.pi * line.time_s / 30), 0)
    assert judged(Surging, line) != []  # at 95 turns a minute the same wave is none of the screw's


def test_a_pressure_that_bends_before_each_cleaning_is_no_wave():
    line = EvenLine()
    phase = line.time_s % 240
    bent = np.where(phase < 220, np.exp((phase - 220) / 20) * 20, (240 - phase))
    for path in ("filter.inlet.pressure.pv", "extruder.head.pressure.pv"):
        line.value[path] += bent
    assert judged(Surging, line) == []


def test_a_wave_of_minutes_is_no_surging():
    assert judged(Surging, surging(period_s=150.0)) == []


def test_is_found_behind_the_filter_where_no_pressure_before_it_is_known():
    found = judged(Surging, surging(4.0), without=("extruder.head.pressure.pv",))
    assert begun_s(found) <= AT_S + 300


def test_the_file_sets_the_numbers():
    facts = replace(FACTS, rules={"surging": RuleSetting(numbers={"unrest_percent": 5.0})})
    assert judged(Surging, surging(), facts) == []


@settings(max_examples=5, deadline=None)
@given(factor=st.sampled_from((0.1, 10.0, 145.0)))
def test_another_unit_of_pressure_changes_nothing(factor: float):
    line = surging()
    plain = [f.time_ns for f in judged(Surging, line)]
    for path, value in line.value.items():
        if "pressure" in path or path == "filter.dp.calc":
            line.value[path] = value * factor
    assert [f.time_ns for f in judged(Surging, line)] == plain


@pytest.mark.parametrize("seed", range(5))
def test_an_even_day_has_no_wave(seed: int):
    assert judged(Surging, EvenLine(seed=seed)) == []
