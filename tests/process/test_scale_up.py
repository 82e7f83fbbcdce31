"""The filter at another throughput, without scatter: against the rules it is made of, and itself."""

from __future__ import annotations

from math import nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from process.scale_up import Drawn, Harder, Saw, Scatter, area_cm2, area_range_cm2, spread

NONE = Scatter(0, 0, 0, 0, 0)
SAW = Saw(24.0, 45.0, 240.0, 22.0)
OTHER = Harder(1.24, 1.2857, 0.5618)


def sure(specific: float, harder: Harder) -> Drawn:
    return Drawn.of(specific, harder, NONE, draws=3)


def test_without_scatter_all_draws_are_the_worked_example():
    assert sure(780 / 1178, OTHER).areas_cm2(1600, 0.85) == pytest.approx([4169] * 3, abs=5)
    assert area_cm2(1600, 780 / 1178, OTHER, 0.85) == pytest.approx(4169, abs=5)


def test_pressure_and_interval_at_half_the_specific_throughput():
    """24 bar · 1.24 · 0.5^n after a cleaning; the rise goes with 1.24 · 1.2857 · 0.5^(1+n)."""
    after, period = sure(0.66, OTHER).at(0.33, SAW)
    assert after[0] == pytest.approx(24 * 1.24 * 0.5**0.5618)
    rise = 21 / 218 * 1.24 * 1.2857 * 0.5**1.5618
    assert period[0] == pytest.approx((45 - after[0]) / rise + 22)


def test_where_the_pressure_after_a_cleaning_starts_the_next_there_is_no_interval():
    after, period = sure(0.3, OTHER).at(1.2, SAW)
    assert after[0] > 45 and period[0] == 0


SHARE = st.floats(0.4, 2.5)


@given(SHARE, SHARE, st.floats(0.2, 1.0))
def test_at_the_area_that_is_needed_it_does_as_well_as_in_the_trial(k: float, c: float, n: float):
    drawn = sure(0.66, Harder(k, c, n))
    area = float(drawn.areas_cm2(1000)[0])
    after, period = drawn.at(1000 / area, SAW)
    assert after[0] <= SAW.trough_bar * (1 + 1e-9)
    assert period[0] >= SAW.period_s * (1 - 1e-9)
    if Harder(k, c, n).by_pressure < Harder(k, c, n).by_interval:
        assert after[0] == pytest.approx(SAW.trough_bar)


def test_the_scatter_of_the_draws_is_what_was_asked_for():
    drawn = Drawn.of(0.66, OTHER, Scatter(0.06, 0.10, 0.15, 0.08, 0.05), draws=100_000)
    assert np.std(np.log(drawn.specific_kg_h_cm2)) == pytest.approx(0.10, rel=0.02)
    assert np.std(np.log(drawn.viscosity)) == pytest.approx(0.10, rel=0.02)
    assert np.std(np.log(drawn.dirt)) == pytest.approx(0.15, rel=0.02)
    assert np.std(drawn.exponent) == pytest.approx(0.05, rel=0.02)
    assert np.median(drawn.dirt) == pytest.approx(1.2857, rel=0.01)


def test_after_a_short_trial_the_range_is_wider():
    usual, short = (area_range_cm2(1600, 0.66, Harder(0.8, 1.3, 0.56), short_trial=s) for s in (False, True))
    assert short[0] < usual[0] < usual[2] < short[2]
    assert Scatter().of_short_trial == Scatter(dirt=0.30)


@pytest.mark.parametrize(
    "bad",
    [Saw(24, 24, 240, 22), Saw(24, 45, 22, 22), Saw(0, 45, 240, 22), Saw(nan, 45, 240, 22), Saw(24, 45, nan)],
)
def test_what_is_no_saw_tooth(bad: Saw):
    assert SAW.whole and not bad.whole


def test_percentiles_of_a_range():
    assert spread(np.arange(101.0)) == (5.0, 50.0, 95.0)
