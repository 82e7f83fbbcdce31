"""Melt density: what it refuses, and which way it goes."""

from __future__ import annotations

from math import isnan, nan

import pytest

from process.melt_density import TAIT


@pytest.mark.parametrize("polymer", sorted(TAIT))
def test_warmer_is_lighter_and_pressed_is_denser(polymer: str):
    tait = TAIT[polymer]
    cel = tait.least_k - 273.15 + 5
    assert tait.density_kg_m3(cel + 20) < tait.density_kg_m3(cel) < tait.density_kg_m3(cel, 100)


@pytest.mark.parametrize(("cel", "bar"), [(20, 0), (400, 0), (nan, 0), (190, -1), (190, nan)])
def test_outside_of_where_the_parameters_hold_nothing_is_told(cel: float, bar: float):
    assert isnan(TAIT["LDPE"].density_kg_m3(cel, bar))
