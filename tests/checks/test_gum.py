"""Standard uncertainties against the worked examples of the GUM, and tolerances against the sensors' standards.

Source: JCGM 100:2008, Evaluation of measurement data - Guide to the expression of uncertainty in measurement,
the clauses named at each test; IEC 60751:2022, tolerance classes; IEC 60584-1:2013, tolerance classes.
"""

from __future__ import annotations

import math

import pytest

from historian.sensors.tolerance import CLASSES
from historian.sensors.uncertainty import combined, from_expanded, from_interval, rectangular, resolution


def test_4_3_3_a_mass_standards_certificate() -> None:
    """240 µg at the three standard deviation level is 80 µg."""
    assert from_expanded(240.0, 3.0) == pytest.approx(80.0)


def test_4_3_4_a_resistors_certificate() -> None:
    """± 129 µΩ at 99 % is 50 µΩ."""
    assert from_interval(129.0, 0.99) == pytest.approx(50.0, abs=0.1)


def test_4_3_7_example_1_a_handbooks_limit() -> None:
    """Expansion of copper, error not more than 0.40e-6 per degree: u = 0.23e-6, u² = 53.3e-15."""
    u = rectangular(0.40e-6)
    assert u == pytest.approx(0.23e-6, abs=0.005e-6)
    assert u**2 == pytest.approx(53.3e-15, abs=0.05e-15)


def test_4_3_7_example_2_and_5_1_5_a_voltmeters_specification() -> None:
    """14e-6 of the reading and 2e-6 of the 1 V range at 0.928 571 V: a = 15 µV, u = 8.7 µV; with 12 µV: 15 µV."""
    a_uv = 14.0 * 0.928571 + 2.0 * 1.0
    assert a_uv == pytest.approx(15.0, abs=0.05)
    u_uv = rectangular(a_uv)
    assert u_uv == pytest.approx(8.7, abs=0.05)
    assert combined(12.0, u_uv) == pytest.approx(15.0, abs=0.5)


def test_f_2_2_1_the_resolution_of_a_display() -> None:
    """u = 0.29 of the step."""
    assert resolution(1.0) == pytest.approx(0.29, abs=0.005)
    assert resolution(1.0) == pytest.approx(rectangular(0.5))


def test_5_1_2_independent_inputs_add_as_squares() -> None:
    assert combined(0.3, -0.4, 1.2) == pytest.approx(math.sqrt(0.09 + 0.16 + 1.44))


@pytest.mark.parametrize(
    ("name", "at_c", "limit_k"),
    [
        ("Pt100 AA", 100.0, 0.27),
        ("Pt100 A", 0.0, 0.15),
        ("Pt100 A", 200.0, 0.55),
        ("Pt100 B", 0.0, 0.30),
        ("Pt100 B", 200.0, 1.30),
        ("Pt100 C", 100.0, 1.60),
        ("thermocouple K 1", 300.0, 1.5),
        ("thermocouple K 1", 500.0, 2.0),
        ("thermocouple J 2", 200.0, 2.5),
        ("thermocouple J 2", 400.0, 3.0),
        ("thermocouple T 1", 100.0, 0.5),
        ("thermocouple T 2", 200.0, 1.5),
    ],
)
def test_tolerance_classes_of_iec_60751_and_iec_60584_1(name: str, at_c: float, limit_k: float) -> None:
    assert CLASSES[name].limit(at_c) == pytest.approx(limit_k)
