"""Samples, qualities and units against published standards and a reference library."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pint
import pytest

from historian.quality import BAD, GOOD, UNCERTAIN, is_bad, is_good, is_uncertain
from historian.units import UNECE, conversion, ucum

SHARED = Path(__file__).resolve().parents[2].parent / "shared" / "checks"
needs_shared = pytest.mark.skipif(
    not SHARED.is_dir(), reason="the folder of check values is not beside the project"
)


def rows(name: str) -> Iterator[dict[str, str]]:
    with (SHARED / name).open(newline="", encoding="utf-8") as file:
        yield from csv.DictReader(file)


@pytest.mark.shared
@needs_shared
def test_status_codes_have_the_severity_of_the_standards_table() -> None:
    """Source: OPC 10000-4 7.39 and the OPC UA status-code table (56 codes)."""
    masks = {"Good": is_good, "Uncertain": is_uncertain, "Bad": is_bad}
    checked = 0
    for row in rows("opcua_status_codes.csv"):
        code = np.array([int(row["hex"], 16)], dtype=np.uint32)
        assert [name for name, mask in masks.items() if mask(code)[0]] == [row["severity"]], row["name"]
        checked += 1
    assert checked >= 50


@pytest.mark.shared
@needs_shared
def test_named_codes_have_the_standards_numbers() -> None:
    """Source: the OPC UA status-code table."""
    from historian import quality

    table = {row["name"]: int(row["hex"], 16) for row in rows("opcua_status_codes.csv")}
    ours = {
        "Good": GOOD,
        "Uncertain": UNCERTAIN,
        "Bad": BAD,
        "BadNoData": quality.NO_DATA,
        "BadNoCommunication": quality.NO_COMMUNICATION,
        "BadSensorFailure": quality.SENSOR_FAILURE,
        "BadOutOfService": quality.OUT_OF_SERVICE,
        "BadNodeIdUnknown": quality.NODE_ID_UNKNOWN,
        "UncertainLastUsableValue": quality.LAST_USABLE,
        "UncertainSubstituteValue": quality.SUBSTITUTED,
        "UncertainSensorNotAccurate": quality.SENSOR_NOT_ACCURATE,
        "UncertainEngineeringUnitsExceeded": quality.RANGE_EXCEEDED,
        "UncertainNoCommunicationLastUsableValue": quality.NO_COMMUNICATION_LAST_USABLE,
    }
    assert {name: table[name] for name in ours} == ours


@pytest.mark.shared
@needs_shared
def test_unit_numbers_are_those_of_the_unece_table() -> None:
    """Source: UNECE Recommendation 20 as numbered by OPC 10000-8 5.6.3."""
    checked = 0
    for row in rows("units.csv"):
        if not row["opcua_unit_id"]:
            continue
        ours = UNECE.get(int(row["opcua_unit_id"]))
        assert ours is not None, row
        # A speed is written /min here; UCUM lets an annotation such as {rev} stand or fall.
        assert conversion(ours, row["ucum"].replace("{rev}", "")) == (1.0, 0.0)
        checked += 1
    assert checked >= 30


@pytest.mark.shared
@needs_shared
def test_every_unit_of_the_table_is_read_as_code_and_as_displayed() -> None:
    """Source: UCUM 2.1 codes and display names, as listed with their quantities in units.csv."""
    table = list(rows("units.csv"))
    same = {"pressure": "bar", "mass flow": "kg/h", "power": "kW", "length": "mm", "time": "s"}
    for row in table:
        assert ucum(row["ucum"]) == ucum(row["display"]), row
        assert row["quantity"] not in same or conversion(row["ucum"], same[row["quantity"]])[0] > 0
    assert len(table) >= 34
    # The note of that table: 1 kW.h/kg = 3.6 MJ/kg.
    assert conversion("kW.h/kg", "MJ/kg") == (3.6, 0.0)


@pytest.mark.parametrize(
    ("number", "unit"),
    [
        (4274487, "hPa"), (20563, "[psi]"), (14384, "[psi]"), (4933459, "kg/s"), (4600377, "g/s"),
        (4534584, "t/h"), (13397, "[lb_av]/h"), (13399, "[ston_av]/h"), (5394509, "/min"), (5059638, "/min"),
        (4405556, "/min"), (4731184, "/h"), (4869973, "J"), (4934223, "kJ"), (13122, "MJ"), (4804168, "[in_i]"),
        (4997714, "[lb_av]"), (5461070, "[ston_av]"), (5002318, "[lton_av]"), (5525061, "t"), (5002322, "L"),
        (5067857, "m3"), (4536626, "L/h"), (12888, "m/min"), (5067859, "m/s"), (4403510, "mm/s"), (17476, "deg"),
        (4410708, "cm"), (5066059, "mm2"), (5067851, "m2"), (5063250, "mbar"), (5259596, "Pa"), (4403766, "ms"),
        (4473177, "d"), (5723220, "W"),
    ],
)  # fmt: skip
def test_unit_numbers_against_the_published_list(number: int, unit: str) -> None:
    """Source: UNECE_to_OPCUA.csv of the OPC Foundation's UA-Nodeset repository (its UnitId and DisplayName)."""
    assert UNECE[number] == unit


@pytest.mark.parametrize(
    ("source", "target", "expression", "to"),
    [
        ("[psi]", "bar", "psi", "bar"),
        ("MPa", "bar", "MPa", "bar"),
        ("[degF]", "Cel", "degF", "degC"),
        ("[lb_av]/h", "kg/h", "lb/h", "kg/h"),
        ("kW.h/kg", "MJ/kg", "kilowatt_hour/kg", "MJ/kg"),
        ("L/min", "m3/h", "L/min", "m**3/h"),
        ("[ston_av]", "kg", "short_ton", "kg"),
        ("[in_i]", "mm", "inch", "mm"),
    ],
)
def test_conversions_against_pint(source: str, target: str, expression: str, to: str) -> None:
    """Source: the reference library pint, with the unit spelled in its own words here."""
    scale, offset = conversion(source, target)
    registry = pint.UnitRegistry()
    for value in (-17.5, 0.0, 42.0, 260.0):
        expected = registry.Quantity(value, expression).to(to).magnitude
        assert value * scale + offset == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_conversions_against_definitions() -> None:
    """Source: NIST SP 811 (2008), appendix B: 1 psi = 6.894757 kPa, 1 lb = 0.45359237 kg, 1 kW·h = 3.6 MJ."""
    assert conversion("[psi]", "kPa")[0] == pytest.approx(6.894757, rel=1e-6)
    assert conversion("[lb_av]", "kg")[0] == pytest.approx(0.45359237, rel=1e-12)
    assert conversion("kW.h/kg", "MJ/kg")[0] == pytest.approx(3.6, rel=1e-12)
