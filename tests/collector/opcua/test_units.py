"""A server's unit is compared with the line's file, and only a known one can disagree."""

from __future__ import annotations

import pytest

from collector.opcua.units import ServerUnit, disagreement
from historian.units import unece_number


@pytest.mark.parametrize(
    ("number", "text", "unit"),
    [
        (unece_number("BAR"), "bar", "bar"),
        (unece_number("RPM"), "r/min", "/min"),
        (-1, "°C", "Cel"),
        (-1, "furlong", "m"),  # not known: the line's file holds
        (0, "", "bar"),
        (unece_number("HTZ"), "Hz", "/s"),
    ],
)
def test_agrees(number: int, text: str, unit: str) -> None:
    assert disagreement(ServerUnit(number, text), unit) is None


@pytest.mark.parametrize(
    ("number", "text", "unit"),
    [
        (unece_number("MPA"), "MPa", "bar"),
        (unece_number("FAH"), "°F", "Cel"),
        (unece_number("CEL"), "bar", "bar"),  # the number counts, not the text
        (-1, "kg/h", "bar"),
    ],
)
def test_disagrees_and_names_both(number: int, text: str, unit: str) -> None:
    said = disagreement(ServerUnit(number, text), unit)
    assert said is not None and unit in said and text in said
