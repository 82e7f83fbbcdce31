"""Units: an allow-list, both ways, nothing guessed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.errors import UnitMismatch, UnknownUnit
from historian.units import _ALIASES, _EXPRESSIONS, UNECE, conversion, difference_scale, quantity, ucum

PAIRS = [
    ("bar", "MPa"),
    ("bar", "[psi]"),
    ("Cel", "[degF]"),
    ("kg/h", "[lb_av]/h"),
    ("kW.h/kg", "kJ/kg"),
    ("/min", "/s"),
]


@given(st.sampled_from(PAIRS), st.floats(-1e4, 1e4))
def test_there_and_back_is_where_it_began(pair: tuple[str, str], value: float) -> None:
    scale, offset = conversion(*pair)
    back_scale, back_offset = conversion(pair[1], pair[0])
    assert (value * scale + offset) * back_scale + back_offset == pytest.approx(value, abs=1e-6)


@pytest.mark.parametrize("code", _EXPRESSIONS)
def test_every_code_is_read_as_itself_and_converts_to_itself(code: str) -> None:
    assert ucum(code) == code
    assert conversion(code, code) == (1.0, 0.0)


@pytest.mark.parametrize("written", _ALIASES)
def test_every_alias_and_number_leads_to_a_known_code(written: str) -> None:
    assert ucum(written) in _EXPRESSIONS


def test_every_unece_number_leads_to_a_known_code() -> None:
    assert set(UNECE.values()) <= set(_EXPRESSIONS)


@pytest.mark.parametrize("written", ["1/min", "{rev}/min", "r/min", "RPM"])
def test_a_speed_is_a_count_per_minute_however_it_is_written(written: str) -> None:
    assert conversion(written, "/min") == (1.0, 0.0)
    assert conversion(written, "/s")[0] == pytest.approx(1 / 60)


def test_unknown_units_name_the_nearest() -> None:
    with pytest.raises(UnknownUnit, match="kg/h"):
        ucum("kgs/h")


def test_units_of_different_things_are_refused() -> None:
    with pytest.raises(UnitMismatch, match="'bar' and 'Cel'"):
        conversion("bar", "Cel")


def test_differences_of_temperature_have_no_offset() -> None:
    assert 10 * difference_scale("K", "[degF]") == pytest.approx(18)


def test_written_quantities() -> None:
    assert quantity("4 s", "s") == 4.0
    assert quantity("1240 cm2", "cm2") == 1240.0
    with pytest.raises(UnknownUnit, match="not a number"):
        quantity("fast", "s")
    with pytest.raises(UnitMismatch):
        quantity("45 bar", "s")
