"""A ``[[source]]`` of kind ``sparkplug``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal

from pydantic import Field

from meltledger.linefile.broker import BrokerKeys
from meltledger.linefile.source import SourceSection, TagSection
from meltledger.linefile.words import Place, TagPath


class SparkplugTag(TagSection):
    """Where one tag comes from."""

    metric: str = Field(description="NODE/DEVICE/METRIC, or NODE//METRIC of the edge node itself.")

    @property
    def address(self) -> str:
        """What the source calls the tag."""
        return self.metric


class SparkplugSection(BrokerKeys, SourceSection):
    """One group of Sparkplug B edge nodes behind a broker."""

    kind: Literal["sparkplug"] = Field(description="Protocol: Sparkplug B 3.0 over MQTT.")
    group: str = Field(min_length=1, description="Sparkplug group.")
    tags: dict[TagPath, SparkplugTag] = Field(
        min_length=1, description="Canonical tag path → where it comes from."
    )

    @property
    def where(self) -> str:
        """Its address, as it stands in messages."""
        return self.broker

    @property
    def delivers(self) -> Mapping[str, TagSection]:
        """Canonical tag path → where it comes from."""
        return self.tags

    def faults(self) -> Iterator[tuple[Place, str]]:
        """What is well formed but cannot be meant: the key inside this section, and what to do."""
        yield from self.broker_faults()
