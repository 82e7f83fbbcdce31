"""Throughput by scale, doser and heat: what agrees, and what may not be related to anything."""

from __future__ import annotations

import numpy as np
import pytest

from tests.support.made_traces import LENGTH_S, WINDOW, line, trace
from trials.figures import MaterialHeat, Measured, missing
from trials.figures.throughput import SCALE, best, flow_that_counts, throughput_figures

LDPE = MaterialHeat(heat_capacity_kj_kg_k=2.5, melting_kj_kg=100, pellet_cel=62)


def test_the_three_readings_and_the_two_that_agree():
    found = throughput_figures(line(), WINDOW, heat=LDPE, losses_kg_h=Measured(17.4))
    scale, doser, heat, agreed = found
    assert scale.value == pytest.approx(760.0, rel=1e-6)
    assert doser.value == pytest.approx(780.0)
    assert heat.value == pytest.approx(775, abs=2)  # the worked example of the water's heat
    assert agreed.value == pytest.approx((760 + 762.6) / 2)
    assert agreed.remarks == ("Of product scale and doser.",)
    assert all(f.unit == "kg/h" and f.method.endswith(".") for f in found)


def test_readings_far_apart_are_told():
    traces = line() | {"doser.rate.pv": trace("doser.rate.pv", 900.0)}
    agreed = throughput_figures(traces, WINDOW, heat=LDPE)[3]
    assert "18 % apart" in agreed.remarks[1] and "not known" in agreed.remarks[1]


def test_one_reading_alone_agrees_with_nothing():
    only = {SCALE: line()[SCALE]}
    scale, doser, heat, agreed = throughput_figures(only, WINDOW)
    assert scale.value is not None
    assert doser.absent == "doser.rate.pv is not recorded"
    assert heat.absent == "the heat capacity of the material is not told"
    assert agreed.value is None and "fewer than two" in agreed.absent


def test_a_cold_return_tells_no_throughput():
    traces = line() | {"water.return.temp.pv": trace("water.return.temp.pv", 41.0)}
    heat = throughput_figures(traces, WINDOW, heat=LDPE)[2]
    assert heat.value is None and "warmer" in heat.absent


@pytest.mark.parametrize(
    ("flow", "plan", "counts"), [(780, 780, True), (150, 780, False), (150, None, True), (0, None, False)]
)
def test_a_fifth_of_the_plan_is_the_least(flow: float, plan: float | None, counts: bool):
    found = flow_that_counts(Measured(flow), plan)
    assert found.known is counts
    assert counts or "below" in found.why


def test_of_no_throughput_the_reason_stays():
    assert flow_that_counts(missing("no scale"), 780).why == "no scale"


def test_the_doser_stands_in_for_a_scale_that_stands_still():
    still = line() | {SCALE: trace(SCALE, 100.0)}
    assert best(still, WINDOW, 780).value == pytest.approx(780)
    stopped = still | {"doser.rate.pv": trace("doser.rate.pv", 0.0)}
    assert "below" in best(stopped, WINDOW, 780).why


def test_a_drifting_doser_is_less_certain_than_an_even_one():
    drift = trace("doser.rate.pv", 780 + 20 * np.arange(LENGTH_S) / LENGTH_S)
    even = throughput_figures(line(), WINDOW)[1]
    moved = throughput_figures(line() | {"doser.rate.pv": drift}, WINDOW)[1]
    assert even.standard_uncertainty == 0
    assert moved.standard_uncertainty == pytest.approx(20 / np.sqrt(12) / np.sqrt(10), rel=0.15)
