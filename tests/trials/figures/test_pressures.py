"""Pressures over a saw-tooth: worked out by hand, with what two gauges share."""

from __future__ import annotations

import numpy as np
import pytest

from tests.support.made_traces import LENGTH_S, WINDOW, line, saw_tooth, trace
from trials.figures import Calibration, Figure
from trials.figures.pressures import DP, INLET, OUTLET, pressure_figures


def by_name(figures: list[Figure]) -> dict[str, Figure]:
    return {f.name: f for f in figures}


def test_mean_percentiles_and_highest_of_the_difference():
    found = by_name(pressure_figures(line(), WINDOW))
    dp = saw_tooth()
    name = "pressure difference over the screen, "
    assert found[name + "mean"].value == pytest.approx(dp.mean())
    assert found[name + "P5"].value == pytest.approx(np.percentile(dp, 5, method="inverted_cdf"))
    assert found[name + "P95"].value == pytest.approx(np.percentile(dp, 95, method="inverted_cdf"))
    assert found[name + "highest"].value == pytest.approx(45, abs=0.1)
    assert found["pressure after the screen, mean"].value == pytest.approx(60)
    assert found["pressure before the screen, mean"].value == pytest.approx(60 + dp.mean())
    assert all(f.unit == "bar" for f in found.values())
    assert found[name + "mean"].tags == (INLET, OUTLET)


def test_what_both_gauges_share_is_not_in_the_difference():
    traces = line()
    for path, own in ((INLET, 0.3), (OUTLET, 0.4)):
        gauge = Calibration({path: own, "calibrator": 2.0})
        traces[path] = trace(path, traces[path].value, calibration=gauge)
    found = by_name(pressure_figures(traces, WINDOW))
    assert found["pressure before the screen, highest"].standard_uncertainty == pytest.approx(
        np.hypot(0.3, 2.0)
    )
    assert found["pressure difference over the screen, highest"].standard_uncertainty == pytest.approx(0.5)


def test_the_difference_that_the_machine_sends_stands_in():
    only = {DP: trace(DP, 30.0)}
    found = by_name(pressure_figures(only, WINDOW))
    assert found["pressure difference over the screen, mean"].value == pytest.approx(30)
    assert found["pressure before the screen, mean"].absent == f"{INLET} is not recorded"


def test_a_gap_is_neither_counted_nor_hidden():
    dp = np.where(np.arange(LENGTH_S) < 1200, np.nan, 60.0)
    found = by_name(pressure_figures({INLET: trace(INLET, dp)}, WINDOW))["pressure before the screen, mean"]
    assert found.value == pytest.approx(60) and "67 %" in found.remarks[0]
    dark = np.where(np.arange(LENGTH_S) < 2400, np.nan, 60.0)
    assert (
        by_name(pressure_figures({INLET: trace(INLET, dark)}, WINDOW))[
            "pressure before the screen, P95"
        ].value
        is None
    )


def test_without_calibration_no_uncertainty_is_stated():
    found = by_name(pressure_figures({INLET: trace(INLET, 60.0, calibration=None)}, WINDOW))
    figure = found["pressure before the screen, mean"]
    assert figure.standard_uncertainty is None and INLET in figure.remarks[0]
