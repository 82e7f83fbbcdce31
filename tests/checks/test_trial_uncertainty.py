"""Propagated uncertainties against the worked examples of the GUM (JCGM 100:2008)."""

from __future__ import annotations

from math import cos, pi, sin, sqrt

import numpy as np
import pytest

from trials.figures import Measured, derived

# Table H.2: five simultaneous readings of voltage (V), current (A) and phase (rad).
VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]
AMPERES = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
PHASES = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def mean_of(values: list[float]) -> Measured:
    """The mean, each reading a source of its own: what readings of one moment share comes with them."""
    x = np.array(values)
    n = len(x)
    off = (x - x.mean()) / sqrt(n * (n - 1))
    return Measured(float(x.mean()), {f"reading {k}": float(o) for k, o in enumerate(off)})


def test_h_2_resistance_reactance_and_impedance_measured_together():
    """Strongly correlated inputs: R = 127.732(71), X = 219.847(295), Z = 254.260(236) ohm."""
    volt, ampere, phase = map(mean_of, (VOLTS, AMPERES, PHASES))
    assert volt.standard == pytest.approx(0.0032, abs=5e-5)
    assert ampere.standard == pytest.approx(0.0095e-3, abs=5e-8)
    assert phase.standard == pytest.approx(0.00075, abs=5e-6)
    r = derived(lambda v, i, p: v / i * cos(p), volt, ampere, phase)
    x = derived(lambda v, i, p: v / i * sin(p), volt, ampere, phase)
    z = derived(lambda v, i: v / i, volt, ampere)
    assert (r.value, x.value, z.value) == pytest.approx((127.732, 219.847, 254.260), abs=1e-3)
    assert (r.standard, x.standard, z.standard) == pytest.approx((0.071, 0.295, 0.236), abs=1e-3)


def test_h_2_4_the_same_by_way_of_resistance_and_reactance():
    """Z from R and X, whose correlation comes with their parts: the same uncertainty as directly."""
    volt, ampere, phase = map(mean_of, (VOLTS, AMPERES, PHASES))
    r = derived(lambda v, i, p: v / i * cos(p), volt, ampere, phase)
    x = derived(lambda v, i, p: v / i * sin(p), volt, ampere, phase)
    z = derived(lambda a, b: (a * a + b * b) ** 0.5, r, x)
    assert z.standard == pytest.approx(0.236, abs=1e-3)


def test_5_2_2_ten_resistors_checked_against_one_standard():
    """Ten of 1000 ohm, each with 0.1 ohm from the same standard, in series: 1 ohm, not 0.32 ohm."""
    one = Measured(1000.0, {"the standard resistor": 0.1})
    assert derived(lambda *r: sum(r), *[one] * 10).standard == pytest.approx(1.0)
    apart = [Measured(1000.0, {f"resistor {k}": 0.1}) for k in range(10)]
    assert derived(lambda *r: sum(r), *apart).standard == pytest.approx(0.1 * sqrt(10))


def test_5_1_3_the_power_of_a_resistor_in_a_product_of_powers():
    """P = V²/R: relative uncertainties add as (2 u(V)/V)² + (u(R)/R)²."""
    power = derived(lambda v, r: v * v / r, Measured(10, {"V": 0.01}), Measured(50, {"R": 0.1}))
    assert power.standard / power.value == pytest.approx(sqrt((2 * 0.001) ** 2 + 0.002**2), rel=1e-5)


def test_a_cylinder_by_a_hundred_thousand_throws_of_dice():
    """Against the propagation of distributions (JCGM 101:2008): volume of a bore, both sizes from one gauge."""
    shared, own = 0.002, 0.001
    bore, depth = (Measured(v, {"gauge": shared, n: own}) for v, n in ((2.0, "bore"), (8.0, "depth")))
    volume = derived(lambda d, h: pi / 4 * d * d * h, bore, depth)
    draw = np.random.default_rng(12)
    common, first, second = draw.standard_normal((3, 100_000))
    d, h = 2.0 + shared * common + own * first, 8.0 + shared * common + own * second
    assert volume.standard == pytest.approx(float(np.std(pi / 4 * d * d * h)), rel=0.01)
