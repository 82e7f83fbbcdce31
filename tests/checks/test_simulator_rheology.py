"""The simulated melt against published numbers."""

from __future__ import annotations

import pytest

from simulator.machines.melt import Polymer


def _polymer(consistency: float, exponent: float, activation: float, reference_cel: float) -> Polymer:
    return Polymer("any", consistency, exponent, activation, reference_cel, 740.0, 2.5, 100.0, 0.18)


def test_power_law_viscosity() -> None:
    # Ostwald-de Waele: K = 1e4 Pa.s^n, n = 0.4 at 100 1/s gives 1e4 * 100^-0.6 = 630.957 Pa.s (textbook example).
    melt = _polymer(1e4, 0.4, 45.0, 190.0)
    assert melt.viscosity_pa_s(190.0, 100.0) == pytest.approx(630.957, rel=1e-6)


@pytest.mark.parametrize(
    ("activation_kj_mol", "reference_cel", "temp_cel", "expected"),
    # Arrhenius shift factors: 45 kJ/mol and 27 kJ/mol from 190 to 210 Cel, 40 kJ/mol from 230 to 250 Cel.
    [(45.0, 190.0, 210.0, 0.6165), (27.0, 190.0, 210.0, 0.7481), (40.0, 230.0, 250.0, 0.6938)],
)
def test_arrhenius_shift(
    activation_kj_mol: float, reference_cel: float, temp_cel: float, expected: float
) -> None:
    melt = _polymer(1e4, 0.42, activation_kj_mol, reference_cel)
    assert melt.shift(temp_cel) == pytest.approx(expected, abs=5e-5)


def test_at_an_imposed_shear_rate_the_power_law_shifts_by_the_factor_to_the_n() -> None:
    # Time-temperature superposition: eta = aT * eta0(aT * rate); with a power law aT * aT^(n-1) = aT^n.
    melt = _polymer(8000.0, 0.42, 45.0, 190.0)
    a_t = melt.shift(210.0)
    superposed = a_t * melt.viscosity_pa_s(190.0, a_t * 600.0)
    assert melt.viscosity_pa_s(210.0, 600.0) == pytest.approx(superposed, rel=1e-12)
    assert melt.temperature_factor(210.0) == pytest.approx(0.6165**0.42, rel=1e-4)
