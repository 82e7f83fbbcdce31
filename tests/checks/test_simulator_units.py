"""The served unit numbers against the UNECE table of OPC UA."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from simulator.opcua.units import engineering_unit, unit_id
from simulator.run import published_tags
from simulator.scenarios.file import load_scenario

TABLE = Path(__file__).resolve().parents[2].parent / "shared" / "checks" / "units.csv"


def test_unece_codes_become_numbers() -> None:
    # OPC 10000-8, 5.6.4, and UNECE Recommendation 20: BAR 4342098, CEL 4408652, E93 (kg/h) 4536627, RPM 5394509.
    assert [unit_id(code) for code in ("BAR", "CEL", "E93", "RPM")] == [4342098, 4408652, 4536627, 5394509]


@pytest.mark.shared
@pytest.mark.skipif(not TABLE.exists(), reason="the folder of check values is not beside the project")
def test_numbers_agree_with_the_table() -> None:
    with TABLE.open(encoding="utf-8") as file:
        table = {
            row["ucum"]: int(row["opcua_unit_id"]) for row in csv.DictReader(file) if row["opcua_unit_id"]
        }
    table["/min"] = table["{rev}/min"]
    units = {tag.unit for tag in published_tags(load_scenario("trial_day"))}
    compared = units & set(table)
    assert {"bar", "Cel", "kg/h", "kW", "kW.h", "A", "kg", "m3/h", "/min", "s", "1"} <= compared
    assert {u: engineering_unit(u)[0] for u in compared} == {u: table[u] for u in compared}


def test_every_published_unit_has_a_number() -> None:
    assert [
        t.path for t in published_tags(load_scenario("trial_day")) if engineering_unit(t.unit)[0] < 0
    ] == []
