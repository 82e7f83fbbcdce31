"""How a sensor is wired: keys that every tag of every kind of source may have."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StrictFloat, StrictInt

from collector.reading.channel import KINDS, NEAR_NOTHING, Channel
from historian.errors import UnitMismatch, UnknownUnit, WrongInput
from historian.tags import Tag
from historian.units import conversion, unit_and_reference
from historian.written import Section, quantity_in

Number = StrictInt | StrictFloat


class ChannelKeys(Section):
    """How the sensor is wired, when the source delivers its signal instead of what it measures."""

    channel: Literal["4-20 mA", "0-20 mA", "0-10 V"] | None = Field(
        None, description="Signal of the sensor, when the source delivers the signal; needs range."
    )
    range: tuple[str, str] | None = Field(
        None, description='channel: what is measured at the signal\'s two ends, as ["0 bar", "250 bar"].'
    )
    raw: tuple[Number, Number] | None = Field(
        None, description="channel: counts that the source delivers at those ends, as [0, 27648]."
    )
    near_nothing: Annotated[float, quantity_in("%"), Field(ge=0, lt=50)] = Field(
        100 * NEAR_NOTHING,
        description="channel without a live zero: part of the signal's span below which it is uncertain.",
        validate_default=False,
    )

    @property
    def signal_unit(self) -> str | None:
        """UCUM code of what the source delivers when its section says none; None without a channel."""
        if self.channel is None:
            return None
        return "1" if self.raw is not None else KINDS[self.channel].unit

    def wiring(self, tag: Tag | None = None) -> Channel | None:
        """The channel; None when the source delivers what is measured.

        Args:
            tag: as the catalogue knows it; its pressure's reference must be the range's, where that says one.

        Raises:
            WrongInput: the keys cannot be meant.
        """
        if self.channel is None:
            for key, value in (("range", self.range), ("raw", self.raw)):
                if value is not None:
                    raise WrongInput(f'{key} belongs to a channel: add channel = "4-20 mA" or take it out')
            return None
        if self.range is None:
            raise WrongInput('a channel needs what its ends measure: add range = ["0 bar", "250 bar"]')
        bottom, unit, reference = measured_end(self.range[0])
        top, top_unit, top_reference = measured_end(self.range[1])
        references = {r for r in (reference, top_reference, tag.reference if tag else "") if r}
        if len(references) > 1:
            raise UnitMismatch(
                "range: gauge and absolute pressure are never mixed; "
                f"the tag and both ends must be {' or '.join(sorted(references))} alike"
            )
        scale, offset = conversion(top_unit, unit)
        return Channel(self.channel, bottom, top * scale + offset, unit, self.raw, self.near_nothing / 100)


def measured_end(text: str) -> tuple[float, str, str]:
    """(number, UCUM code, ``gauge``, ``absolute`` or empty) of a written quantity such as "250 bar(g)".

    Raises:
        UnknownUnit: there is no number, or the unit is not known.

    Example:
        >>> measured_end("0 bar(g)"), measured_end("100 %")
        ((0.0, 'bar', 'gauge'), (100.0, '%', ''))
    """
    number, _, written = text.strip().partition(" ")
    try:
        value = float(number)
    except ValueError as error:
        raise UnknownUnit(f"'{text[:40]}' is not a number, a space and a unit, such as 250 bar") from error
    return value, *unit_and_reference(written.strip())


class SensorsSection(Section):
    """The register of sensors and their checks."""

    path: str | None = Field(
        None,
        description="File of the register; relative to this file, and sensors.toml beside it if left out.",
    )
