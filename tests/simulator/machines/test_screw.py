"""Filling, conveying and the filled length of the screw."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.machines.material import MATERIALS, Material
from simulator.machines.screw import WETTING_KG, Screw
from simulator.machines.screw_design import ScrewDesign, film_weights, work_weights

FILM = MATERIALS["film"]
POLYMER = FILM.polymer
MELT_KJ_KG = POLYMER.enthalpy_kj_kg(221.0)


def _hot(material: Material = FILM) -> Screw:
    """A screw whose film is melt, so that what is fed as melt goes through at one temperature."""
    return Screw(ScrewDesign(), material.polymer, 5, start_cel=221.0)


def _feed(
    screw: Screw,
    seconds: float,
    *,
    kg_h: float = 780.0,
    speed: float = 95.0,
    head_bar: float = 104.0,
    material: Material = FILM,
    stiffness: float = 1.0,
    dt_s: float = 1.0,
) -> float:
    """Melt that left, kg."""
    out_kg = 0.0
    for _ in range(round(seconds / dt_s)):
        feed_kg = kg_h / 3600.0 * dt_s
        out_kg += screw.convey(
            dt_s,
            speed,
            feed_kg,
            feed_kg * MELT_KJ_KG,
            0.0,
            material,
            head_bar=head_bar,
            stiffness=stiffness,
            surge=0.0,
        )
    return out_kg


def test_in_the_end_as_much_leaves_as_is_fed() -> None:
    screw = _hot()
    _feed(screw, 600.0)
    assert screw.flow_kg_s * 3600.0 == pytest.approx(780.0, rel=1e-6)


def test_filled_length_is_pressure_flow_against_drag_flow() -> None:
    screw = _hot()
    _feed(screw, 900.0)
    design = screw.design
    drag_kg_s = design.litre_per_turn * 1e-3 * POLYMER.density_kg_m3 * 95.0 / 60.0
    relative = POLYMER.temperature_factor(221.0)
    balance_kg = design.back_up * 104.0 / relative / (drag_kg_s - 780.0 / 3600.0)
    assert screw.mass_kg[-1] - WETTING_KG == pytest.approx(balance_kg, rel=1e-6)
    assert screw.backed_up_share == pytest.approx(balance_kg / design.full_kg, rel=1e-6)


def test_pressure_backs_up_and_a_stiffer_melt_at_the_same_pressure_less() -> None:
    low, high, stiff = _hot(), _hot(), _hot()
    _feed(low, 600.0, head_bar=60.0)
    _feed(high, 600.0, head_bar=150.0)
    _feed(stiff, 600.0, head_bar=150.0, stiffness=1.5)
    assert low.backed_up_share < stiff.backed_up_share < high.backed_up_share
    assert low.past_vent == 0.0


def test_a_faster_screw_empties_itself() -> None:
    slow, fast = _hot(), _hot()
    _feed(slow, 600.0, kg_h=500.0, speed=70.0)
    _feed(fast, 600.0, kg_h=500.0, speed=120.0)
    assert fast.filled_share < slow.filled_share
    assert fast.backed_up_share < slow.backed_up_share


def test_a_step_of_the_feed_reaches_the_head_after_a_minute_or_so() -> None:
    screw = _hot()
    _feed(screw, 900.0)
    before, seconds = screw.flow_kg_s, 0
    while screw.flow_kg_s < 1.05 * before:
        _feed(screw, 1.0, kg_h=858.0)
        seconds += 1
    assert 50 <= seconds <= 90


def test_more_feed_than_the_screw_carries_stands_in_the_throat() -> None:
    screw = _hot()
    left_kg = _feed(screw, 600.0, kg_h=1500.0)
    assert screw.throat_held_kg > screw.design.throat_kg
    assert left_kg / 600.0 * 3600.0 < 1400.0
    assert all(mass <= screw.design.lump_kg + 1e-9 for mass in screw.mass_kg[:-1])


def test_light_feed_limits_the_screw_by_volume() -> None:
    light = Material(
        name="fluff", polymer=POLYMER, bulk_density_kg_m3=120.0, moisture_percent=0.2, dirt_percent=1.0
    )
    screw = _hot()
    _feed(screw, 600.0, material=light)
    assert screw.throat_held_kg > 10.0
    assert screw.flow_kg_s * 3600.0 < 780.0


def test_a_screw_that_stands_lets_nothing_out() -> None:
    screw = _hot()
    _feed(screw, 300.0)
    held = screw.mass_kg[-1]
    assert _feed(screw, 60.0, kg_h=0.0, speed=0.0, head_bar=0.0) == 0.0
    assert screw.mass_kg[-1] == held


def test_solid_polymer_does_not_leave_the_tip() -> None:
    screw = Screw(ScrewDesign(), POLYMER, 5, start_cel=20.0)
    out_kg = 0.0
    for _ in range(300):
        out_kg += screw.convey(
            1.0, 30.0, 0.05, 0.05 * 46.0, 0.0, FILM, head_bar=0.0, stiffness=1.0, surge=0.0
        )
    assert out_kg == 0.0


def test_the_weights_of_work_and_films_are_shares_of_a_whole() -> None:
    for lumps in (3, 5, 8):
        assert sum(work_weights(lumps)) == pytest.approx(1.0)
        assert sum(film_weights(lumps)) == pytest.approx(1.0)
        assert min(work_weights(lumps)) > 0.0


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0.0, 2000.0), st.floats(0.0, 160.0), st.floats(0.0, 400.0), st.floats(0.3, 3.0)),
        min_size=1,
        max_size=6,
    ),
    st.sampled_from([0.2, 1.0]),
)
def test_no_lump_is_ever_negative_and_mass_is_kept(
    parts: list[tuple[float, float, float, float]], dt_s: float
) -> None:
    screw = _hot()
    before_kg = screw.held_kg
    fed_kg = left_kg = 0.0
    for kg_h, speed, head_bar, stiffness in parts:
        left_kg += _feed(
            screw, 30.0, kg_h=kg_h, speed=speed, head_bar=head_bar, stiffness=stiffness, dt_s=dt_s
        )
        fed_kg += kg_h / 3600.0 * 30.0
        assert min(screw.mass_kg) >= WETTING_KG - 1e-9
        assert screw.flow_kg_s >= 0.0
        assert 0.0 <= screw.filled_share <= 1.0
    assert fed_kg - left_kg == pytest.approx(screw.held_kg - before_kg, abs=1e-9)
