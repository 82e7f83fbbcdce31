"""The screen: resistance, blocking laws, dirt that stays, a tear, a change."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.machines.melt import POLYMERS
from simulator.machines.screen import BlockingLaw, Screen, ScreenDesign, doubling, growth

LDPE = POLYMERS["LDPE"]
KG_S = 780.0 / 3600.0
DESIGN = ScreenDesign()
laws = st.sampled_from(list(BlockingLaw))


def _screen(law: BlockingLaw = BlockingLaw.CAKE) -> Screen:
    return Screen(replace(DESIGN, law=law), LDPE.exponent, "one")


def _bar(screen: Screen, kg_s: float = KG_S, tear: float = 0.0) -> float:
    return screen.difference_bar(LDPE, kg_s, 221.0, 1.0, tear)


def test_a_clean_screen_of_the_film_line_takes_some_twenty_bar() -> None:
    assert _bar(_screen()) == pytest.approx(21.0, abs=0.5)
    assert _bar(_screen(), kg_s=0.0) == 0.0


def test_pressure_goes_with_the_flow_to_the_n() -> None:
    assert _bar(_screen(), 0.7 * KG_S) / _bar(_screen()) == pytest.approx(0.7**LDPE.exponent, rel=1e-12)


def test_stiffness_multiplies() -> None:
    screen = _screen()
    assert screen.difference_bar(LDPE, KG_S, 221.0, 1.5, 0.0) == pytest.approx(1.5 * _bar(screen))


@pytest.mark.parametrize("law", list(BlockingLaw))
@pytest.mark.parametrize("exponent", [0.3, 0.42, 1.0])
def test_every_law_doubles_at_the_same_load(law: BlockingLaw, exponent: float) -> None:
    assert growth(law, doubling(law, exponent), exponent) == pytest.approx(2.0)
    screen = Screen(replace(DESIGN, law=law), exponent, "one")
    screen.catch(screen.clean_1_m / DESIGN.cake_m_kg * DESIGN.area_m2)
    assert screen.cake_1_m == pytest.approx(screen.clean_1_m)


@given(law=laws, portions=st.lists(st.floats(0.0, 0.3), min_size=1, max_size=20))
def test_resistance_never_falls_while_dirt_comes(law: BlockingLaw, portions: list[float]) -> None:
    screen = _screen(law)
    before = screen.resistance_1_m(0.0)
    for portion_kg in portions:
        screen.catch(portion_kg)
        now = screen.resistance_1_m(0.0)
        assert now >= before
        before = now
    assert before < float("inf")


@given(law=laws, load_kg=st.floats(0.0, 2.0), share=st.floats(0.0, 1.0), stays=st.floats(0.0, 1.0))
def test_a_cleaning_loses_no_dirt_and_never_raises_the_resistance(
    law: BlockingLaw, load_kg: float, share: float, stays: float
) -> None:
    screen = _screen(law)
    screen.catch(load_kg)
    before_1_m = screen.resistance_1_m(0.0)
    off_kg = screen.loosen(share, stays)
    assert off_kg >= 0.0
    assert screen.load_kg >= 0.0
    assert off_kg + screen.dirt_kg == pytest.approx(load_kg, abs=1e-12)
    if law is BlockingLaw.CAKE:
        assert screen.resistance_1_m(0.0) <= before_1_m * (1.0 + 1e-12)


def test_what_stays_is_for_good() -> None:
    screen = _screen()
    screen.catch(0.5)
    cake_1_m = screen.cake_1_m
    screen.loosen(1.0, 0.1)
    assert screen.cake_1_m == 0.0
    assert screen.lasting_1_m == pytest.approx(0.1 * cake_1_m)
    screen.loosen(1.0, 0.0)
    assert screen.lasting_kg == pytest.approx(0.05)


def test_a_tear_is_a_path_beside_the_screen() -> None:
    # Parallel paths: 1/R = 1/R_whole + 0.9/R_clean; it lets 65 % of the held dirt past.
    screen = _screen()
    screen.catch(0.5)
    whole = screen.resistance_1_m(0.0)
    assert screen.resistance_1_m(1.0) == pytest.approx(1.0 / (1.0 / whole + 0.9 / screen.clean_1_m))
    assert _bar(screen, tear=1.0) < _bar(_screen())
    assert screen.retention(1.0) == pytest.approx(0.35 * screen.retention(0.0))


def test_a_change_puts_in_a_clean_and_other_screen() -> None:
    screen = _screen()
    screen.catch(0.4)
    screen.loosen(0.5, 0.2)
    clean_1_m = screen.clean_1_m
    gone_kg = screen.change(replace(DESIGN, fineness_um=220.0), LDPE.exponent, "two")
    assert gone_kg == pytest.approx(0.24)
    assert (screen.dirt_kg, screen.lasting_1_m, screen.serial) == (0.0, 0.0, "two")
    # Poiseuille: a quarter of the resistance with holes of twice the width.
    assert screen.clean_1_m == pytest.approx(clean_1_m / 4.0)
