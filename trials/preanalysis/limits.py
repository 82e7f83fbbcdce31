"""What a line can do with a material, as the site writes it down; nothing has a default that judges."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import Field

from historian.written import Section, quantity_in
from trials.forms.forms import filled_in


class LineLimits(Section):
    """What the site has set; what is left out is not judged."""

    doser_volume: Annotated[float, quantity_in("m3/h"), Field(gt=0)] | None = Field(
        None, description="Most that the doser moves, as loose material."
    )
    least_bulk_density: Annotated[float, quantity_in("kg/m3"), Field(gt=0)] | None = Field(
        None, description="Lighter material has bridged in this hopper."
    )
    vent_water: Annotated[float, quantity_in("kg/h"), Field(gt=0)] | None = Field(
        None, description="Most water that the vents have taken."
    )
    most_specific: Annotated[float, quantity_in("kg/h/cm2"), Field(gt=0)] | None = Field(
        None, description="Highest specific throughput of a screen."
    )
    resistance: Annotated[float, quantity_in("/m"), Field(gt=0)] | None = Field(
        None, description="Resistance of such a screen, as the report of an earlier trial tells it."
    )
    most_pressure: Annotated[float, quantity_in("bar"), Field(gt=0)] | None = Field(
        None, description="Highest pressure difference; where cleanings start, when left out."
    )
    above_melting: Annotated[float, quantity_in("K{diff}"), Field(ge=0)] | None = Field(
        None, description="How far set-points are to lie above the highest melting peak."
    )
    most_temperature: Annotated[float, quantity_in("Cel"), Field(gt=0)] | None = Field(
        None, description="Highest set-point that this material is given."
    )


def limits_of(data: Mapping[str, Any], where: str = "") -> LineLimits:
    """What was written, checked; quantities with their units.

    Raises:
        WrongInput: naming key and remedy.

    Example:
        >>> limits_of({"vent_water": "0.012 t/h"}).vent_water
        12.0
    """
    return LineLimits.model_validate(filled_in(LineLimits, dict(data), where))
