"""Specific energies and the energy that the melt took up, against the worked example."""

from __future__ import annotations

import pytest

from tests.support.made_traces import WINDOW, line, trace
from trials.figures import Figure, MaterialHeat, Trace, told
from trials.figures.energy import energy_figures

LDPE = MaterialHeat(2.5, 100, 62)
HEATERS = {"filter.plate.1.out": 2.4, "filter.plate.2.out": 2.4}


def by_name(traces: dict[str, Trace], **told_of: object) -> dict[str, Figure]:
    return {f.name: f for f in energy_figures(traces, WINDOW, **told_of)}  # type: ignore[arg-type]


def test_counters_over_product():
    """192 kW and 148 kW over 760 kg/h on the scale."""
    found = by_name(line(), heaters=HEATERS)
    assert found["specific energy, line"].value == pytest.approx(192 / 760, rel=2e-3)
    assert found["specific energy, drive"].value == pytest.approx(148 / 760, rel=2e-3)
    assert found["specific energy, heaters"].value == pytest.approx(2.4 * 0.73 / 760)
    assert found["specific energy, line"].unit == "kW.h/kg"
    assert "Counter difference" in found["specific energy, line"].method


def test_a_power_signal_stands_in_for_a_counter_and_says_so():
    traces = line()
    del traces["extruder.drive.energy.total"]
    found = by_name(traces)["specific energy, drive"]
    assert found.value == pytest.approx(148 / 760) and "no counter" in found.method


def test_what_the_melt_took_up():
    """0.168 kWh/kg from 20 to 222 Cel, of 148 kW times 0.92 times 0.95 and the heaters."""
    found = by_name(line(), heaters=HEATERS, heat=LDPE, shaft_share=told(0.92 * 0.95, "shaft"))
    brought = 148 * 0.92 * 0.95 + 2.4 * 0.73
    figure = found["energy that the melt took up"]
    assert figure.value == pytest.approx(100 * (2.5 * 202 + 100) / 3600 * 760 / brought, rel=2e-3)
    assert figure.remarks == () and figure.standard_uncertainty is not None


def test_more_than_was_brought_in_is_told():
    weak = line() | {
        "extruder.drive.energy.total": trace(
            "extruder.drive.energy.total", line()["extruder.drive.energy.total"].value / 3
        )
    }
    found = by_name(weak, heaters=HEATERS, heat=LDPE, shaft_share=told(0.87, "shaft"))
    assert found["energy that the melt took up"].value > 150
    assert "Melt cannot take up more" in found["energy that the melt took up"].remarks[0]


def test_what_is_not_told_or_not_there():
    found = by_name(line(), heat=LDPE)
    assert found["specific energy, heaters"].absent == "the nominal power of the heaters is not told"
    assert "drive's power reaches the melt" in found["energy that the melt took up"].absent
    assert (
        by_name(line())["energy that the melt took up"].absent
        == "the heat capacity of the material is not told"
    )
    still = line() | {
        "product.scale.total": trace("product.scale.total", 0.0),
        "doser.rate.pv": trace("doser.rate.pv", 0.0),
    }
    assert "throughput of 0 kg/h" in by_name(still)["specific energy, line"].absent


def test_output_at_each_screw_speed():
    """760 kg/h at 95 1/min."""
    assert by_name(line())["output at each screw speed"].value == pytest.approx(8.0)
    still = line() | {"extruder.screw.speed.pv": trace("extruder.screw.speed.pv", 0.0)}
    assert by_name(still)["output at each screw speed"].absent == "the screw stood"


def test_cooling_is_no_heating():
    cooled = line() | {"filter.plate.2.out": trace("filter.plate.2.out", -50.0)}
    assert by_name(cooled, heaters=HEATERS)["specific energy, heaters"].value == pytest.approx(
        2.4 * 0.33 / 760
    )
