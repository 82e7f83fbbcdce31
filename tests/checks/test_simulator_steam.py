"""The simulated vent against steam tables."""

from __future__ import annotations

import pytest

from simulator.machines.vent import saturation_mbar, steam_kj_kg, steam_m3_kg

# Saturated steam: temperature (Cel), pressure (mbar), volume (m3/kg), enthalpy (kJ/kg, from liquid of 0 Cel).
# Ohio University, Department of Mechanical Engineering, property tables: H2O, saturation by temperature (seen).
SATURATED = [
    (20.0, 23.4, 57.757, 2537.4),
    (35.0, 56.3, 25.205, 2564.5),
    (40.0, 73.9, 19.515, 2573.5),
    (60.0, 199.5, 7.6672, 2608.8),
    (90.0, 701.8, 2.3591, 2659.5),
]


@pytest.mark.parametrize(("cel", "mbar", "m3_kg", "kj_kg"), SATURATED)
def test_volume_of_saturated_steam(cel: float, mbar: float, m3_kg: float, kj_kg: float) -> None:
    # Steam is the further from an ideal gas the denser it is; the vent works below some 300 mbar.
    assert steam_m3_kg(mbar, cel) == pytest.approx(m3_kg, rel=0.006 if mbar < 200.0 else 0.015)
    assert steam_kj_kg(cel) == pytest.approx(kj_kg, rel=0.005)


@pytest.mark.parametrize(("cel", "mbar"), [row[:2] for row in SATURATED[:4]])
def test_pressure_of_saturated_steam(cel: float, mbar: float) -> None:
    assert saturation_mbar(cel) == pytest.approx(mbar, rel=0.005)


def test_steam_at_100_cel_is_an_ideal_gas_within_two_percent() -> None:
    # 1.6729 m3/kg at 1.0135 bar (a second table of saturated water, seen); an ideal gas has 1.700.
    ideal = steam_m3_kg(1013.5, 100.0)
    assert ideal == pytest.approx(1.6729, rel=0.02)
    assert ideal > 1.6729


@pytest.mark.parametrize(
    ("cel", "m3_kg"),
    # Superheated steam at 60 mbar: values of a textbook's table, from memory.
    [(80.0, 27.132), (120.0, 30.219), (160.0, 33.302), (200.0, 36.383)],
)
def test_superheated_steam_at_60_mbar(cel: float, m3_kg: float) -> None:
    assert steam_m3_kg(60.0, cel) == pytest.approx(m3_kg, rel=1.5e-3)


def test_moist_feed_gives_a_vacuum_pump_twenty_times_the_volume() -> None:
    # 1.2 % of 780 kg/h is 9.36 kg/h: 15.66 m3/h of saturated steam at 1.013 bar by the tables, 326 m3/h at 60 mbar and
    # 180 Cel (from the table above between 160 and 200 Cel).
    water_kg_h = 0.012 * 780.0
    assert water_kg_h * steam_m3_kg(1013.25, 100.0) == pytest.approx(15.66, rel=0.02)
    between = 0.5 * (33.302 + 36.383)
    assert water_kg_h * steam_m3_kg(60.0, 180.0) == pytest.approx(water_kg_h * between, rel=1e-3)
    assert water_kg_h * steam_m3_kg(60.0, 180.0) == pytest.approx(326.0, rel=2e-3)
