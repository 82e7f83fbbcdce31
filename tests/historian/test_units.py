"""Units: an allow-list, both ways, nothing guessed."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian._unit_names import ALIASES, EXPRESSIONS
from historian.errors import UnitMismatch, UnknownUnit
from historian.units import (
    PRESSURES,
    UNECE,
    conversion,
    difference_scale,
    difference_unit,
    pressure_conversion,
    quantity,
    shown_unit,
    ucum,
    unit_and_reference,
)

PAIRS = [
    ("bar", "MPa"),
    ("bar", "[psi]"),
    ("Cel", "[degF]"),
    ("kg/h", "[lb_av]/h"),
    ("kW.h/kg", "kJ/kg"),
    ("/min", "/s"),
]


@settings(deadline=None)
@given(st.sampled_from(PAIRS), st.floats(-1e4, 1e4))
def test_there_and_back_is_where_it_began(pair: tuple[str, str], value: float) -> None:
    scale, offset = conversion(*pair)
    back_scale, back_offset = conversion(pair[1], pair[0])
    assert (value * scale + offset) * back_scale + back_offset == pytest.approx(value, abs=1e-6)


@pytest.mark.parametrize("code", EXPRESSIONS)
def test_every_code_is_read_as_itself_and_converts_to_itself(code: str) -> None:
    assert ucum(code) == code
    assert conversion(code, code) == (1.0, 0.0)


@pytest.mark.parametrize("written", ALIASES)
def test_every_alias_and_number_leads_to_a_known_code(written: str) -> None:
    assert ucum(written) in EXPRESSIONS


@pytest.mark.parametrize("code", EXPRESSIONS)
def test_what_a_person_reads_is_read_back(code: str) -> None:
    assert unit_and_reference(shown_unit(code)) == (code, "")
    for reference in ("gauge", "absolute") if code in PRESSURES else ():
        assert unit_and_reference(shown_unit(code, reference)) == (code, reference)


def test_every_unece_number_leads_to_a_known_code() -> None:
    assert set(UNECE.values()) <= set(EXPRESSIONS)


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
    for kelvin in ("K", "Cel", "°C", "K{diff}", "Δ°C"):
        assert 10 * difference_scale(kelvin, "[degF]") == 18.0
        assert conversion(difference_unit(kelvin), "Δ°F") == (1.8, 0.0)
    assert 10 * conversion("Cel", "[degF]")[0] + conversion("Cel", "[degF]")[1] == pytest.approx(50)
    assert difference_scale("MPa", "bar") == 10.0


@pytest.mark.parametrize("temperature", ["Cel", "[degF]"])
@pytest.mark.parametrize("difference", ["K{diff}", "[degR]{diff}"])
def test_a_difference_is_no_temperature(temperature: str, difference: str) -> None:
    for pair in ((temperature, difference), (difference, temperature)):
        with pytest.raises(UnitMismatch, match="a temperature and the other a difference"):
            conversion(*pair)
    # The kelvin is the unit of both, and neither has an offset there.
    assert conversion(difference, "K")[1] == 0.0


@pytest.mark.parametrize(
    ("written", "unit", "reference"),
    [
        ("psig", "[psi]", "gauge"),
        ("PSIA", "[psi]", "absolute"),
        ("barg", "bar", "gauge"),
        ("bara", "bar", "absolute"),
        ("bar(g)", "bar", "gauge"),
        ("bar (a)", "bar", "absolute"),
        ("bar abs.", "bar", "absolute"),
        ("bar ü", "bar", "gauge"),
        ("mbar absolute", "mbar", "absolute"),
        ("[psi](g)", "[psi]", "gauge"),
        ("kPa_g", "kPa", "gauge"),
        ("bar", "bar", ""),
        ("g", "g", ""),
        ("°C", "Cel", ""),
    ],
)
def test_a_written_pressure_may_say_its_reference(written: str, unit: str, reference: str) -> None:
    assert unit_and_reference(written) == (unit, reference)


@pytest.mark.parametrize("written", ["psig", "bara", "bar(g)"])
def test_a_reference_within_a_unit_is_refused_where_only_a_unit_is_read(written: str) -> None:
    with pytest.raises(UnknownUnit, match="apart from it"):
        ucum(written)


@settings(deadline=None)
@given(
    st.sampled_from(sorted(PRESSURES)),
    st.sampled_from(sorted(PRESSURES)),
    st.sampled_from(["gauge", "absolute", ""]),
    st.sampled_from(["gauge", "absolute", ""]),
)
def test_gauge_and_absolute_are_never_mixed(source: str, target: str, one: str, other: str) -> None:
    if one and one == other:
        assert pressure_conversion(source, one, target, other) == conversion(source, target)
        return
    with pytest.raises(UnitMismatch, match=r"never mixed|gauge or absolute"):
        pressure_conversion(source, one, target, other)


def test_gauge_becomes_absolute_with_the_airs_pressure_alone() -> None:
    scale, offset = pressure_conversion("[psi]", "gauge", "bar", "absolute", ambient="1013.25 mbar")
    # A physical atmosphere is 101 325 Pa by definition, or 14.696 psi (NIST SP 811, appendix B).
    assert 0 * scale + offset == 1.01325
    back, down = pressure_conversion("bar", "absolute", "[psi]", "gauge", ambient="101325 Pa")
    assert 0 * back + down == pytest.approx(-14.696, abs=5e-4)
    assert (100 * scale + offset) * back + down == pytest.approx(100)


def test_pounds_and_tonnes_are_named() -> None:
    """Source: NIST SP 811 (2008), appendix B: lb 0.453 592 37 kg, short ton 907.184 74 kg, long ton 1016.047 kg."""
    assert conversion("lb/h", "kg/h") == (pytest.approx(0.45359237, rel=1e-12), 0.0)
    assert conversion("[ston_av]/h", "kg/h") == (pytest.approx(907.18474, rel=1e-12), 0.0)
    assert conversion("t/h", "kg/h") == (1000.0, 0.0)
    assert conversion("[ston_av]", "t")[0] == pytest.approx(0.90718474, rel=1e-12)
    assert conversion("[lton_av]", "kg")[0] == pytest.approx(1016.047, rel=1e-6)
    assert ucum("kWh/lb") == ucum("kW·h/lb") == "kW.h/[lb_av]"
    assert conversion("kWh/lb", "kW.h/kg")[0] == pytest.approx(1 / 0.45359237, rel=1e-12)
    for tons in ("ton", "tons", "ton/h"):
        with pytest.raises(UnknownUnit):
            ucum(tons)


@pytest.mark.parametrize("written", ["mesh", "Mesh", "100 mesh", "[mesh]"])
def test_mesh_is_no_unit(written: str) -> None:
    with pytest.raises(UnknownUnit, match="not known"):
        ucum(written)


def test_written_quantities() -> None:
    assert quantity("4 s", "s") == 4.0
    assert quantity("1240 cm2", "cm2") == 1240.0
    with pytest.raises(UnknownUnit, match="not a number"):
        quantity("fast", "s")
    with pytest.raises(UnitMismatch):
        quantity("45 bar", "s")
