"""The heater zone's model against what others compute.

Sources: the closed form of a lumped capacity, ``T = T_inf + (T_0 - T_inf) exp(-t / tau)`` (Incropera et al.,
Fundamentals of Heat and Mass Transfer, ch. 5); ``scipy.integrate.solve_ivp`` as a second way to it;
``numpy.linalg.lstsq`` as the batch form of what the recursive fit does one lesson at a time.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from process.heater_fit import HeaterFit, Prior
from process.heaters import HeaterZone, Surroundings

scipy_integrate = pytest.importorskip("scipy.integrate")

AROUND = Surroundings(ambient_cel=22, neighbour_cel=220, melt_cel=222)
PRIOR = Prior(full_k_min=5.3, hall_per_min=0.009, neighbour_per_min=0.013, melt_per_min=0.018)


@settings(max_examples=25, deadline=None)
@given(
    capacity=st.floats(5_000, 80_000),
    hall=st.floats(1, 12),
    neighbours=st.floats(0, 24),
    melt=st.floats(0, 20),
    heating=st.floats(0, 9_000),
    start=st.floats(15, 260),
)
def test_the_closed_form_is_what_an_integrator_gives(
    capacity: float, hall: float, neighbours: float, melt: float, heating: float, start: float
):
    zone = HeaterZone(capacity, hall, neighbours, melt, power_w=9_000)

    def change(_t: float, temp: np.ndarray) -> np.ndarray:
        return (heating - zone.hold_w(temp, AROUND)) / capacity

    found = scipy_integrate.solve_ivp(change, (0, 1800), [start], rtol=1e-9, atol=1e-9).y[0, -1]
    assert zone.temp_cel(1800, start, heating, AROUND) == pytest.approx(found, rel=1e-6, abs=1e-5)


def test_the_fit_of_a_heat_up_gives_back_the_zone_that_made_it():
    """Two-minute slopes of a closed-form heat-up, hold and dead stretch: power and losses are found."""
    zone = HeaterZone(capacity_j_k=24_000, ambient_w_k=4.8, neighbours_w_k=0, melt_w_k=0, power_w=2_700)
    alone = Surroundings(22, 22, 22)
    fit, temp = HeaterFit(PRIOR, 1), 22.0
    for share in [1.0] * 35 + [0.35] * 30 + [0.0] * 30:
        after = zone.temp_cel(60, temp, share * zone.power_w, alone)
        middle = (temp + after) / 2
        fit.take(*(np.asarray([v]) for v in (after - temp, share, 22 - middle, 0.0, 0.0)))
        temp = after
    assert fit.numbers[0, 0] == pytest.approx(zone.full_power_k_min, rel=0.01)
    assert fit.numbers[0, 1] == pytest.approx(60 * zone.ambient_w_k / zone.capacity_j_k, rel=0.02)


def test_lesson_by_lesson_is_the_batch_solution():
    """Recursive least squares with a prior equals one least-squares problem with the prior as further rows."""
    chance = np.random.default_rng(11)
    x = np.stack(
        [chance.uniform(0, 1, 60), -chance.uniform(20, 200, 60), *chance.normal(0, 9, (2, 60))], axis=1
    )
    y = x @ np.asarray([5.0, 0.0095, 0.012, 0.017]) + 0.1 * chance.standard_normal(60)
    fit = HeaterFit(PRIOR, 1)
    for row, rate in zip(x, y, strict=True):
        fit.take(np.asarray([rate]), *(row[i : i + 1] for i in range(4)))
    sigma = PRIOR.spread * PRIOR.numbers()
    rows = np.concatenate((x / 0.2, np.diag(1 / sigma)))
    wanted = np.concatenate((y / 0.2, PRIOR.numbers() / sigma))
    assert fit.numbers[0] == pytest.approx(np.linalg.lstsq(rows, wanted, rcond=None)[0], rel=1e-6)
