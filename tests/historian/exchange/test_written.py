"""Headings: the unit where it is known, gauge or absolute where it is said, and nothing guessed."""

from __future__ import annotations

import pytest

from historian.errors import UnknownUnit, WrongInput
from historian.exchange._written import Heading, heading_of, unit_of


@pytest.mark.parametrize(
    ("cell", "heading"),
    [
        ("Melt pressure [bar(g)]", Heading("Melt pressure", "bar", "gauge")),
        ("Melt pressure (barg)", Heading("Melt pressure", "bar", "gauge")),
        ("Vent 1 (mbar abs)", Heading("Vent 1", "mbar", "absolute")),
        ("Head pressure, psig", Heading("Head pressure", "[psi]", "gauge")),
        ("p [[psi](g)]", Heading("p", "[psi]", "gauge")),
        ("w [[ston_av]]", Heading("w", "[ston_av]")),
        ("Temp Zone 1 in °C", Heading("Temp Zone 1", "Cel")),
        ("Drehzahl [U/min]", Heading("Drehzahl", "/min")),
        ("Output_kg/h", Heading("Output", "kg/h")),
        ("Output (lb/hr)", Heading("Output", "[lb_av]/h")),
        ("Energy kWh/lb", Heading("Energy kWh/lb")),
        ("Energy [kWh/lb]", Heading("Energy", "kW.h/[lb_av]")),
        ("Zone 3 (upper)", Heading("Zone 3 (upper)")),
        ("filter.dp.calc", Heading("filter.dp.calc")),
        ("[bar]", Heading("[bar]")),
        ("", Heading("")),
    ],
)
def test_headings(cell: str, heading: Heading) -> None:
    assert heading_of(cell) == heading


def test_short_and_metric_tons_are_named() -> None:
    assert unit_of("tonnes") == ("t", "")
    assert unit_of("short tons") == ("[ston_av]", "")
    with pytest.raises(WrongInput, match=r"metric .* short .* long"):
        unit_of("tons")


def test_mesh_is_text() -> None:
    with pytest.raises(WrongInput, match="never turned into micrometres"):
        unit_of("mesh")
    with pytest.raises(WrongInput, match="mesh is text"):
        unit_of("100 mesh")
    with pytest.raises(UnknownUnit):
        unit_of("furlong")
