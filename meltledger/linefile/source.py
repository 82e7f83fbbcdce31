"""What every ``[[source]]`` of a line's file has, whatever its kind."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal

from pydantic import Field

from collector import TagMapping
from historian.units import quantity
from historian.written import Section
from meltledger.linefile.confirm import ConfirmKeys
from meltledger.linefile.sensors import ChannelKeys
from meltledger.linefile.words import DeadBand, Name, Place, UcumCode


class TagSection(ConfirmKeys, ChannelKeys):
    """Where one tag comes from; each kind of source adds how it calls it."""

    unit: UcumCode | None = Field(
        None, description="Unit that the machine delivers; canonical when left out."
    )
    deadband: DeadBand = Field(
        0.0,
        description="Smallest change that is kept: a number in the tag's unit, or a share of its range, "
        '"2 %".',
    )

    @property
    def address(self) -> str:
        """What the source calls the tag."""
        raise NotImplementedError

    def mapping(self, path: str, unit: str) -> TagMapping:
        """As the collector takes it.

        Args:
            path: the tag's.
            unit: UCUM code of the tag.
        """
        delivered = self.unit or self.signal_unit or unit
        wiring = self.wiring()
        change, percent = (
            (0.0, quantity(self.deadband, "%")) if isinstance(self.deadband, str) else (self.deadband, 0.0)
        )
        return TagMapping(path, self.address, delivered, change, wiring, self.unit is None, percent)

    def faults(self) -> Iterator[str]:
        """What is well formed but cannot be meant."""
        yield from ()


class SourceSection(Section):
    """One machine or gateway that delivers tags."""

    name: Name = Field(description="Short name, as it stands in messages.")
    simulated: bool = Field(False, description="Whether a simulated line stands behind it.")
    clock: Literal["wall", "own"] = Field("wall", description="own: the source runs on a clock of its own.")

    @property
    def where(self) -> str:
        """Its address, as it stands in messages."""
        raise NotImplementedError

    @property
    def delivers(self) -> Mapping[str, TagSection]:
        """Canonical tag path → where it comes from."""
        raise NotImplementedError

    def faults(self) -> Iterator[tuple[Place, str]]:
        """What is well formed but cannot be meant: the key inside this section, and what to do."""
        yield from ()

    def notes(self) -> Iterator[str]:
        """What is no fault but must be right on the other side for this to work."""
        yield from ()
