"""How values are written in files that people fill in: quantities with their units, and no key by mistake."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, BeforeValidator, ConfigDict

from historian.errors import WrongInput
from historian.units import quantity


class Section(BaseModel):
    """Keys that belong together; an unknown one is a fault."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def quantity_in(unit: str) -> BeforeValidator:
    """A written quantity such as "45 bar", as the number of one unit."""

    def read(value: Any) -> float:
        if not isinstance(value, str):
            raise ValueError(f'write it with its unit, as text: "{value} {unit}"')
        try:
            return quantity(value, unit)
        except WrongInput as error:
            raise ValueError(str(error)) from error

    return BeforeValidator(read)
