"""What the production line is to do, as a person writes it down."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import Field

from historian.written import Section, quantity_in
from trials.forms.forms import filled_in

Ratio = Annotated[float, Field(gt=0, le=100)]


class Wanted(Section):
    """What is asked of the production line.

    The site's own limits stand in it as well: nothing is judged against a limit that nobody has set.
    """

    throughput: Annotated[float, quantity_in("kg/h"), Field(gt=0)] = Field(description="Feed of the line.")
    fineness: Annotated[float, quantity_in("um"), Field(gt=0)] = Field(description="Of its screen.")
    most_times: Annotated[float, Field(ge=1, le=100)] = Field(
        description="How many times the trial's throughput, area, or material may be gone beyond."
    )
    viscosity_ratio: Ratio = Field(1.0, description="Stiffness of its melt over that of the trial's.")
    dirt_ratio: Ratio = Field(1.0, description="Its dirt over that of the trial's.")
    exponent: Annotated[float, Field(ge=0.1, le=1)] | None = Field(
        None, description="Power-law exponent n of the melt, where no two melt flow rates tell it."
    )
    interval: Annotated[float, quantity_in("s"), Field(gt=0)] | None = Field(
        None, description="Shortest time from one cleaning to the next; that of the trial when left out."
    )
    service_factor: Annotated[float, Field(gt=0, le=1)] = Field(
        1.0, description="What of the area may be counted on with a plate out, on hot days, with dirty bales."
    )
    most_specific: Annotated[float, quantity_in("kg/h/cm2"), Field(gt=0)] | None = Field(
        None, description="Highest specific throughput that the site lets a screen have."
    )
    least_chance: Annotated[float, quantity_in("%"), Field(ge=50, le=99)] = Field(
        95.0, description="How sure it must be that a machine is large enough."
    )


def wanted_of(data: Mapping[str, Any], where: str = "") -> Wanted:
    """What was written, checked; quantities with their units.

    Raises:
        WrongInput: naming key and remedy.

    Example:
        >>> wanted_of({"throughput": "1.6 t/h", "fineness": "110 um", "most_times": 3}).throughput
        1600.0
    """
    return Wanted.model_validate(filled_in(Wanted, dict(data), where))
