"""A ``[[source]]`` of kind ``opcua``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal

from pydantic import Field

from meltledger.linefile.opcua_access import AccessKeys
from meltledger.linefile.source import SourceSection, TagSection
from meltledger.linefile.words import Milliseconds, Pace, Place, TagPath


class OpcUaTag(TagSection):
    """Where one tag comes from."""

    node: str = Field(description="OPC UA node: nsu=URI;s=NAME (kept apart from index order) or ns=4;s=NAME.")
    sampling: Pace | None = Field(
        None,
        description="Time between two samples at the server, 0 ms: as fast as it will; "
        "the source's when left out.",
    )
    queue: int | None = Field(
        None, ge=1, le=100_000, description="Samples that the server holds; the source's when left out."
    )

    @property
    def address(self) -> str:
        """What the source calls the tag."""
        return self.node

    def faults(self) -> Iterator[str]:
        """What is well formed but cannot be meant."""
        identifier = self.node.rsplit(";", maxsplit=1)[-1]
        if not (
            self.node.startswith(("nsu=", "ns=", "i=", "s=")) and identifier[:2] in ("s=", "i=", "g=", "b=")
        ):
            yield f"'{self.node}' is not a node; write nsu=URI;s=NAME or ns=4;s=NAME"


class OpcUaSection(AccessKeys, SourceSection):
    """One machine or gateway that is read over OPC UA."""

    kind: Literal["opcua"] = Field(description="Protocol: OPC UA.")
    tags: dict[TagPath, OpcUaTag] = Field(
        min_length=1, description="Canonical tag path → where it comes from."
    )

    sampling: Pace = Field(
        250.0,
        description="Time between two samples at the server; 0 ms: as fast as it will.",
        validate_default=False,
    )
    queue: int | None = Field(
        None,
        ge=1,
        le=100_000,
        description="Samples that the server holds until they are sent; half a minute's when left out.",
    )
    publishing: Milliseconds = Field(
        250.0, description="Time between two messages of the server.", validate_default=False
    )
    history: bool = Field(
        True, description="Whether gaps are filled from the server's history, where it keeps one."
    )
    alarms: bool = Field(True, description="Whether the machine's own alarms are read into the journal.")
    events_above: int | None = Field(
        None,
        ge=1,
        le=1000,
        description="Machine's messages that are no alarms: the least severity (1 to 1000) that is kept; "
        "none when left out.",
    )

    @property
    def where(self) -> str:
        """Its address, as it stands in messages."""
        return self.endpoint

    @property
    def delivers(self) -> Mapping[str, TagSection]:
        """Canonical tag path → where it comes from."""
        return self.tags

    def faults(self) -> Iterator[tuple[Place, str]]:
        """What is well formed but cannot be meant: the key inside this section, and what to do."""
        yield from self.access_faults()
