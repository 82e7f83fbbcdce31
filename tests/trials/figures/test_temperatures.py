"""Temperatures of melt and zones: mean, spread, deviation, and how far zones lie apart."""

from __future__ import annotations

import numpy as np
import pytest

from tests.support.made_traces import LENGTH_S, WINDOW, line, trace
from trials.figures import Calibration, Figure, Trace
from trials.figures.temperatures import temperature_figures

PLATE = "filter.plate.2.temp.pv"


def by_name(traces: dict[str, Trace]) -> dict[str, Figure]:
    return {f.name: f for f in temperature_figures(traces, WINDOW)}


def test_melt_and_zones():
    found = by_name(line())
    assert found["temperature, melt at the screw tip"].value == pytest.approx(222)
    assert found["temperature, melt before the screen"].absent == "filter.inlet.melt_temp.pv is not recorded"
    assert found["temperature, filter plate 1"].value == pytest.approx(220.5)
    assert found["highest deviation, filter plate 1"].value == pytest.approx(0.5)
    assert found["highest deviation, filter plate 2"].value == pytest.approx(2.0)
    spread = found["spread between filter plates"]
    assert spread.value == pytest.approx(2.5) and "filter.plate.1" in spread.remarks[0]
    assert found["temperature, filter plate 1"].unit == "Cel" and spread.unit == "K"


def test_the_spread_of_a_swinging_zone():
    swing = 220 + 3 * np.sin(np.arange(LENGTH_S) * 2 * np.pi / 200)
    found = by_name(line() | {PLATE: trace(PLATE, swing)})
    assert found["temperature, filter plate 2, spread"].value == pytest.approx(
        6 * np.cos(0.05 * np.pi), abs=0.1
    )
    assert found["highest deviation, filter plate 2"].value == pytest.approx(3, abs=0.05)


def test_one_sensors_offset_is_not_in_its_spread_and_two_sensors_are_in_theirs():
    offset = {
        path: trace(path, value, calibration=Calibration({path: 1.0}))
        for path, value in ((PLATE, 218.0), ("filter.plate.1.temp.pv", 220.5))
    }
    found = by_name(line() | offset)
    assert found["temperature, filter plate 2"].standard_uncertainty == pytest.approx(1.0)
    assert found["temperature, filter plate 2, spread"].standard_uncertainty == pytest.approx(0, abs=1e-9)
    assert found["spread between filter plates"].standard_uncertainty == pytest.approx(np.sqrt(2))


def test_a_broken_sensor_leaves_its_group_without_a_spread():
    found = by_name(line() | {PLATE: trace(PLATE, np.nan)})
    assert found["temperature, filter plate 2"].value is None
    assert found["spread between filter plates"].absent == f"{PLATE} has no good sample in the window"
    assert found["temperature, filter plate 1"].value is not None


def test_without_a_set_point_there_is_no_deviation():
    traces = line()
    del traces["filter.plate.2.temp.sp"]
    assert "set-point" in by_name(traces)["highest deviation, filter plate 2"].absent


def test_zones_come_in_their_order():
    traces = {
        path: trace(path, 200.0)
        for path in (
            "filter.plate.10.temp.pv",
            "filter.plate.9.temp.pv",
            "extruder.zone.2.temp.pv",
            "die.zone.1.temp.pv",
        )
    }
    names = [n for n in by_name(traces) if n.startswith("highest")]
    assert [n.split(", ")[1] for n in names] == [
        "barrel zone 2",
        "filter plate 9",
        "filter plate 10",
        "die zone 1",
    ]
    assert "spread between barrel zones" not in by_name(traces)  # one zone lies apart from nothing
    assert temperature_figures(traces, ())[-1].value is None
