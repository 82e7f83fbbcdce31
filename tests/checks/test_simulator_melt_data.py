"""The simulated melt against printed examples and measured curves."""

from __future__ import annotations

from itertools import pairwise
from math import exp, hypot, log

import pytest

from simulator.machines.melt import GAS_CONSTANT_KJ_MOL_K, POLYMERS, ZERO_CEL_K, Polymer


def _melt(consistency: float, exponent: float, activation: float, reference_cel: float) -> Polymer:
    return Polymer("any", consistency, exponent, activation, reference_cel, 740.0, 2.5, 100.0, 0.18)


def test_power_law_example_of_a_design_handbook() -> None:
    # Design Formulas for Plastics Engineers, section 1.3.7.2, example for an LDPE (seen on a page of the book):
    # n_R 0.3286, beta 0.00863 1/Cel, K_OR 135990 N s^n/m2 give 373.1 Pa.s at 200 Cel and 500 1/s.
    # The book has K = K_OR exp(-beta T) with T in Cel.
    melt = _melt(135_990.0 * exp(-0.00863 * 200.0), 0.3286, 45.0, 200.0)
    assert melt.viscosity_pa_s(200.0, 500.0) == pytest.approx(373.1, rel=1e-3)


def test_temperature_slope_of_that_example_is_one_of_ldpe() -> None:
    # beta is the slope of ln eta at an imposed shear rate: n Ea/(R T2). With our n and Ea for LDPE at 200 Cel it is
    # 0.0102 1/K, with the book's n and beta Ea is 49 kJ/mol: between 40 and 55, as LDPE is said to have.
    beta, exponent, kelvin = 0.00863, 0.3286, 200.0 + ZERO_CEL_K
    activation = beta * GAS_CONSTANT_KJ_MOL_K * kelvin**2 / exponent
    assert 40.0 < activation < 55.0
    ldpe = POLYMERS["LDPE"]
    book = _melt(1.0, exponent, activation, 200.0)
    ours = ldpe.temperature_factor(205.0) / ldpe.temperature_factor(195.0)
    assert log(ours) == pytest.approx(
        log(book.temperature_factor(205.0) / book.temperature_factor(195.0)), rel=0.25
    )
    assert book.temperature_factor(205.0) == pytest.approx(exp(-beta * 5.0), rel=1e-3)


@pytest.mark.parametrize(("cel", "measured_pa_s"), [(60.0, 1.55), (70.0, 1.26)])
def test_arrhenius_between_two_temperatures(cel: float, measured_pa_s: float) -> None:
    # The Rheology Handbook, table 3.5: 2.00, 1.55, 1.26, 1.00 Pa.s at 50, 60, 70, 80 Cel (seen on a page of the
    # book). The activation energy from the outer two (21.9 kJ/mol) has to give the inner two; printed to 3 digits.
    activation = GAS_CONSTANT_KJ_MOL_K * log(2.00 / 1.00) / (1.0 / 323.15 - 1.0 / 353.15)
    liquid = _melt(2.00, 1.0, activation, 50.0)
    assert liquid.viscosity_pa_s(cel, 1.0) == pytest.approx(measured_pa_s, rel=0.02)


# Polystyrene, angular frequency (rad/s) with storage and loss modulus (Pa), measured at 190 and at 175 Cel: example
# data of the open repository imewei/rheojax, examples/data/oscillation/polystyrene/oscillation_ps190_data.csv and
# oscillation_ps175_data.csv (seen; part of the rows).
PS_190 = {
    1.05: (18187.0, 20439.0),
    1.47: (22729.0, 23108.0),
    2.05: (27917.0, 25756.0),
    2.85: (33736.0, 28326.0),
    3.98: (40158.0, 30797.0),
    5.55: (47159.0, 33129.0),
    7.74: (54641.0, 35249.0),
    10.8: (62567.0, 37174.0),
    15.0: (70855.0, 38881.0),
    21.0: (79484.0, 40410.0),
}
PS_175 = {
    0.388: (24587.0, 24760.0),
    0.541: (30196.0, 27596.0),
    0.754: (36477.0, 30319.0),
    1.05: (43335.0, 32943.0),
    2.05: (58796.0, 37685.0),
    2.85: (67320.0, 39723.0),
    3.98: (76247.0, 41573.0),
    5.55: (85552.0, 43221.0),
}


def _rate_at(curve: dict[float, tuple[float, float]], stress_pa: float) -> float:
    """Frequency at which the complex modulus has that value, between two points on a line of logarithms."""
    points = sorted(curve.items())
    for (low, below), (high, above) in pairwise(points):
        if hypot(*below) <= stress_pa <= hypot(*above):
            share = log(stress_pa / hypot(*below)) / log(hypot(*above) / hypot(*below))
            rate: float = low * (high / low) ** share
            return rate
    raise AssertionError


@pytest.mark.parametrize(("rate", "beyond"), [(2.05, 7.74), (2.85, 10.8), (3.98, 15.0), (5.55, 21.0)])
def test_a_flow_curve_moves_by_the_shift_to_the_power_n(rate: float, beyond: float) -> None:
    # The shift comes from equal stress (40 kPa), the exponent from the 190 Cel curve alone between the rate and some
    # four times it, and both predict the 175 Cel curve at the same rate (Cox-Merz: |eta*| at w for eta at the rate).
    shift = _rate_at(PS_190, 40_000.0) / _rate_at(PS_175, 40_000.0)
    activation = GAS_CONSTANT_KJ_MOL_K * log(shift) / (1.0 / 448.15 - 1.0 / 463.15)
    modulus = hypot(*PS_190[rate])
    exponent = log(hypot(*PS_190[beyond]) / modulus) / log(beyond / rate)
    melt = _melt(modulus / rate**exponent, exponent, activation, 190.0)
    assert melt.viscosity_pa_s(190.0, rate) == pytest.approx(modulus / rate, rel=1e-9)
    measured = hypot(*PS_175[rate]) / rate
    assert melt.viscosity_pa_s(175.0, rate) == pytest.approx(measured, rel=0.05)
    # The shift itself, without its power, would be wrong by more than a factor of two.
    assert shift * modulus / rate > 2.0 * measured


@pytest.mark.parametrize(
    ("name", "cel", "kj_kg"),
    # Heat from 20 Cel to processing temperature, typical values from memory, some ±10 %.
    [("LDPE", 200.0, 570.0), ("HDPE", 200.0, 720.0), ("PS", 220.0, 380.0)],
)
def test_heat_to_processing_temperature(name: str, cel: float, kj_kg: float) -> None:
    polymer = POLYMERS[name]
    assert polymer.enthalpy_kj_kg(cel) - polymer.solid_enthalpy_kj_kg(20.0) == pytest.approx(kj_kg, rel=0.12)


@pytest.mark.parametrize(
    ("name", "cel", "kg_m3"),
    # Melt densities after Tait with the handbook parameters of Danner and High, at no pressure.
    [("LDPE", 190.0, 757.5), ("HDPE", 190.0, 759.4), ("PS", 190.0, 975.5)],
)
def test_melt_density(name: str, cel: float, kg_m3: float) -> None:
    # One density is used for all temperatures: within 3 % of the value at 190 Cel, some 30 to 60 K above it too.
    assert POLYMERS[name].density_kg_m3 == pytest.approx(kg_m3, rel=0.03)
    assert cel == 190.0
