"""A filter's zone that may be its discharge block is asked about; the plates map themselves."""

from __future__ import annotations

import pytest

from collector.discovery import Standing, discover
from tests.collector.discovery.spaces import PLASTICS, Growing, row_of

PLATES = {
    "en": "Plate",
    "de": "Heizplatte",
    "es": "Placa",
    "it": "Piastra",
    "cs": "Deska",
    "ja": "加熱プレート",
}


def standing(names: dict[int, str]) -> dict[int, tuple[str, str]]:
    """(path, what it may become) by zone."""
    growing = Growing()
    machine = growing.machine("Filter")
    by_address = {}
    for place, name in names.items():
        by_address[growing.row(machine, row_of("Filter", "filter.plate.#.temp.pv"), number=place)] = place
        zone = next(a for a, n in growing.nodes.items() if n.name == f"TemperatureZone_{place}")
        if name:
            growing.say(zone, "Name", name, PLASTICS)
    return {
        by_address[f.address]: (f.path if f.standing is Standing.MAPPED else "?", f.becomes)
        for f in discover(growing.space()).findings
    }


def plates(*numbers: int) -> dict[int, tuple[str, str]]:
    return {n: (f"filter.plate.{n}.temp.pv", "") for n in numbers}


@pytest.mark.parametrize("language", PLATES)
def test_zones_that_are_called_alike_are_plates(language: str) -> None:
    # The numbers in people's names lead astray, and are not read.
    names = {n: f"{PLATES[language]} {9 - n}" for n in range(1, 9)}
    if language == "ja":
        assert standing(names)[3] == ("filter.plate.3.temp.pv", "")
        return
    assert standing(names) == plates(*range(1, 9))


@pytest.mark.parametrize("name", ["Austrag", "Discharge 2", "Descarga", "Scarico", "Austragsblock"])
def test_a_zone_that_is_called_the_discharge_is_proposed_as_it(name: str) -> None:
    names = {n: f"Heizplatte {n}" for n in range(1, 5)} | {2: name}
    assert standing(names) == {**plates(1, 3, 4), 2: ("?", "filter.discharge.temp.pv")}


def test_a_zone_that_is_called_otherwise_is_asked_about_in_any_language() -> None:
    names = {n: f"Deska {n}" for n in range(1, 6)} | {6: "Výstup"}
    assert standing(names) == {**plates(1, 2, 3, 4, 5), 6: ("?", "")}


@pytest.mark.parametrize(
    "names", [dict.fromkeys(range(1, 5), ""), {n: f"TIC-{4700 + n}" for n in range(1, 5)}]
)
def test_where_names_tell_nothing_the_last_zone_is_asked_about(names: dict[int, str]) -> None:
    assert standing(names) == {**plates(1, 2, 3), 4: ("?", "")}
