"""The screen's figures against the worked examples, and what they refuse without being told."""

from __future__ import annotations

import pytest

from tests.support.made_traces import WINDOW, line, trace
from trials.figures import Melt, Reference, ScreenInUse, Trace
from trials.figures.resistance import resistance_figures

SCREEN = ScreenInUse(1178, open_share=0.10, hole_um=110)
LDPE = Melt(0.5618, 45_000, consistency=11_194, at_cel=190, density_kg_m3=740)


def with_dp(bar: float, **others: float) -> dict[str, Trace]:
    traces = line() | {"filter.inlet.pressure.pv": trace("filter.inlet.pressure.pv", 60 + bar)}
    return traces | {path: trace(path, value) for path, value in others.items()}


def test_specific_throughput_and_resistance_of_the_worked_example():
    """31 bar at 780 kg/h and 222 Cel over 1178 cm2: 0.662 kg/h/cm2 and 4.556e6 1/m."""
    specific, index, _, resistance = resistance_figures(with_dp(31), WINDOW, screen=SCREEN, melt=LDPE)
    assert specific.value == pytest.approx(0.662, abs=5e-4) and specific.unit == "kg/h/cm2"
    assert index.value == pytest.approx(100 * 31 / 55)
    assert resistance.value == pytest.approx(4.556e6, rel=1e-3)


def test_the_pressure_at_the_reference_of_the_worked_example():
    """38 bar at 228 Cel and 700 kg/h is 43.46 bar at 222 Cel and 780 kg/h."""
    traces = with_dp(38, **{"doser.rate.pv": 700.0, "extruder.melt.temp.pv": 228.0})
    found = resistance_figures(traces, WINDOW, melt=LDPE, reference=Reference(780, 222))[2]
    assert found.value == pytest.approx(43.46, abs=5e-3)


def test_an_uncertain_area_and_exponent_are_in_the_uncertainty():
    screen = ScreenInUse(1178, area_standard_cm2=11.78)
    found = resistance_figures(with_dp(31), WINDOW, screen=screen)[0]
    assert found.standard_uncertainty == pytest.approx(0.01 * found.value, rel=1e-3)
    melt = Melt(0.5618, 45_000, exponent_standard=0.05)
    traces = with_dp(38, **{"doser.rate.pv": 700.0})
    sure, unsure = (
        resistance_figures(traces, WINDOW, melt=m, reference=Reference(780, 222))[2] for m in (LDPE, melt)
    )
    assert sure.standard_uncertainty == pytest.approx(0, abs=1e-9)
    # d ln(dp) / dn = ln(780 / 700)
    assert unsure.standard_uncertainty == pytest.approx(0.05 * 0.1082 * unsure.value, rel=0.01)


def test_what_is_not_told_is_named():
    specific, index, reference, resistance = resistance_figures(with_dp(31), WINDOW)
    assert specific.absent == "the screen's area is not told"
    assert index.value is not None
    assert reference.absent == "the melt's power law is not told"
    assert resistance.absent == "the screen's holes are not told"
    bare = Melt(0.5, 45_000)
    _, _, reference, resistance = resistance_figures(with_dp(31), WINDOW, screen=SCREEN, melt=bare)
    assert "reference" in reference.absent and "viscosity" in resistance.absent


@pytest.mark.parametrize("area", [0.0, -5.0])
def test_a_screen_without_area(area: float):
    found = resistance_figures(
        with_dp(31), WINDOW, screen=ScreenInUse(area, open_share=0.1, hole_um=110), melt=LDPE
    )
    assert found[0].value is None and found[3].value is None


def test_without_throughput_or_die_pressure():
    traces = with_dp(0.5, **{"doser.rate.pv": 0.0, "die.pressure.pv": 1.0})
    found = resistance_figures(traces, WINDOW, screen=SCREEN, melt=LDPE, reference=Reference(780, 222))
    assert [f.value for f in found] == [None] * 4
    assert "die pressure is below" in found[1].absent and "throughput" in found[0].absent
