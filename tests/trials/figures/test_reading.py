"""Samples with their quality become traces, the register's uncertainties become sources."""

from __future__ import annotations

import numpy as np
import pytest

from historian.frame import Series
from historian.quality import GOOD, LAST_USABLE, NO_DATA, SENSOR_FAILURE
from historian.sensors.uncertainty import Uncertainty
from trials.figures import Trace, calibration_of, traces_of
from trials.figures.trace import difference


def test_bad_samples_are_not_known_and_uncertain_ones_are():
    series = Series.of([1, 2, 3, 4], [5.0, 6.0, 7.0, 8.0], [GOOD, LAST_USABLE, SENSOR_FAILURE, NO_DATA])
    trace = traces_of({"a.pv": series})["a.pv"]
    assert trace.value[:2].tolist() == [5.0, 6.0] and np.isnan(trace.value[2:]).all()
    assert trace.calibration is None


def test_what_two_gauges_have_from_one_certificate_cancels():
    told = Uncertainty({"reference": 0.5, "drift": 0.3, "error": 0.4}, "checked")
    calibrations = {path: calibration_of(path, told, "C-17") for path in ("in.pv", "out.pv")}
    traces = traces_of(
        {p: Series.of([1], [v], GOOD) for p, v in (("in.pv", 90.0), ("out.pv", 60.0))}, calibrations
    )
    assert traces["in.pv"].calibration.offset["reference C-17"] == 0.5
    both = difference("dp", traces["in.pv"], traces["out.pv"]).calibration
    assert np.hypot.reduce(list(both.offset.values())) == pytest.approx(np.sqrt(2) * 0.5)


def test_without_a_certificate_nothing_is_shared():
    told = Uncertainty({"reference": 0.5}, "checked")
    high, low = (
        Trace.of(p, [1], [v], calibration_of(p, told)) for p, v in (("in.pv", 90.0), ("out.pv", 60.0))
    )
    assert np.hypot.reduce(list(difference("dp", high, low).calibration.offset.values())) == pytest.approx(
        np.sqrt(2) * 0.5
    )
