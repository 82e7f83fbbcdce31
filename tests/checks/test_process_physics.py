"""Heat and flow against printed numbers and other people's solvers."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from process.heaters import HeaterZone, Surroundings
from process.rheology import power_law_pa_s, shift_factor


def test_first_order_cooling_is_what_an_integrator_gives():
    """scipy.integrate.solve_ivp (BSD) on the energy balance, against the closed form."""
    zone = HeaterZone(27_000, 4, 12, 8, 2400)
    around = Surroundings(22, 220, 222)

    def balance(_t: float, temp: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
        losses = 4 * (22 - temp) + 12 * (220 - temp) + 8 * (222 - temp)
        return np.asarray(losses / 27_000)

    solved = solve_ivp(balance, (0, 3000), [220.0], t_eval=[189, 600, 1125, 3000], rtol=1e-10, atol=1e-10)
    closed = [zone.temp_cel(t, 220, 0, around) for t in solved.t]
    np.testing.assert_allclose(closed, solved.y[0], atol=1e-6)


def test_after_one_time_constant_a_step_is_63_percent_done():
    """First-order step response: 1 - 1/e = 63.2 % after one time constant (any text on process control)."""
    zone = HeaterZone(27_000, 4, 12, 8, 2400)
    around = Surroundings(22, 220, 222)
    end = zone.asymptote_cel(0, around)
    done = (220 - zone.temp_cel(zone.time_constant_s, 220, 0, around)) / (220 - end)
    assert done == pytest.approx(0.632, abs=5e-4)


@pytest.mark.parametrize(
    ("activation", "temp", "reference", "factor"),
    [(45_000, 210, 190, 0.6165), (27_000, 210, 190, 0.7481), (40_000, 250, 230, 0.6938)],
)
def test_arrhenius_shift_factors(activation: float, temp: float, reference: float, factor: float):
    """Arrhenius shift aT = exp[Ea/R (1/T - 1/T0)], R 8.314 J/(mol K): values worked out by hand for LDPE, HDPE, PP."""
    assert shift_factor(temp, reference, activation) == pytest.approx(factor, abs=5e-5)


def test_power_law_viscosity():
    """Power law at 100 1/s with K 1e4, n 0.4: 1e4 * 100^-0.6 = 630.957 Pa.s."""
    assert power_law_pa_s(1e4, 0.4, 100) == pytest.approx(630.957, abs=5e-4)
