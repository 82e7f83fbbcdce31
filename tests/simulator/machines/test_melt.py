"""Heat in a polymer, and how stiff it is."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.machines.melt import POLYMERS, Polymer, mixture_factor

NAMES = st.sampled_from(sorted(POLYMERS))


@given(NAMES, st.floats(-10.0, 340.0))
def test_temperature_of_melt_comes_back_from_its_heat(name: str, cel: float) -> None:
    polymer = POLYMERS[name]
    assert polymer.cel_of_enthalpy(polymer.enthalpy_kj_kg(cel)) == pytest.approx(cel, abs=1e-9)


@given(NAMES, st.floats(-10.0, 340.0))
def test_temperature_on_the_way_comes_back_but_at_the_melting_point(name: str, cel: float) -> None:
    polymer = POLYMERS[name]
    back = polymer.cel_on_the_way(polymer.enthalpy_on_the_way(cel))
    assert back == pytest.approx(cel, abs=1e-9)


@given(NAMES, st.floats(-20.0, 900.0), st.floats(0.0, 50.0))
def test_more_heat_never_makes_it_colder(name: str, kj_kg: float, more: float) -> None:
    polymer = POLYMERS[name]
    assert polymer.cel_on_the_way(kj_kg + more) >= polymer.cel_on_the_way(kj_kg)
    assert polymer.molten_share(kj_kg + more) >= polymer.molten_share(kj_kg)


@pytest.mark.parametrize("name", sorted(POLYMERS))
def test_melting_takes_heat_and_never_gives_it(name: str) -> None:
    polymer = POLYMERS[name]
    cel = polymer.melting_cel
    fusion = polymer.enthalpy_kj_kg(cel) - polymer.solid_enthalpy_kj_kg(cel)
    assert fusion >= -1e-9
    assert polymer.molten_share(polymer.solid_enthalpy_kj_kg(cel) - 1.0) == 0.0
    assert polymer.molten_share(polymer.enthalpy_kj_kg(cel) + 1.0) == 1.0


def test_half_of_the_heat_of_fusion_leaves_half_of_it_solid() -> None:
    polymer = POLYMERS["HDPE"]
    solid, melt = polymer.solid_enthalpy_kj_kg(131.0), polymer.enthalpy_kj_kg(131.0)
    middle = 0.5 * (solid + melt)
    assert polymer.molten_share(middle) == pytest.approx(0.5)
    assert polymer.cel_on_the_way(middle) == 131.0


def test_pressure_carries_work() -> None:
    # 74 bar on 740 kg/m3: 7.4 MPa / 740 kg/m3 = 10 kJ/kg.
    assert POLYMERS["LDPE"].flow_work_kj_kg(74.0) == pytest.approx(10.0)


@given(NAMES, st.floats(150.0, 300.0), st.floats(1.0, 40.0), st.floats(1.0, 3000.0))
def test_warmer_melt_and_faster_shear_make_it_thinner(
    name: str, cel: float, warmer: float, rate: float
) -> None:
    polymer = POLYMERS[name]
    viscosity = polymer.viscosity_pa_s(cel, rate)
    assert polymer.viscosity_pa_s(cel + warmer, rate) < viscosity
    assert polymer.viscosity_pa_s(cel, rate * 1.1) < viscosity


def test_a_mixture_lies_between_its_parts() -> None:
    assert mixture_factor(0.0, 3.0) == 1.0
    assert mixture_factor(1.0, 3.0) == 3.0
    # Half of each: the geometric mean.
    assert mixture_factor(0.5, 4.0) == pytest.approx(2.0)


def test_the_old_positional_form_still_builds_a_polymer() -> None:
    polymer = Polymer("any", 1e4, 0.4, 45.0, 190.0, 740.0, 2.5, 100.0, 0.18)
    assert polymer.enthalpy_kj_kg(200.0) == pytest.approx(600.0)
