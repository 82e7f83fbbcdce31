"""A ``[[source]]`` of kind ``mqtt-json``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pydantic import Field

from meltledger.linefile.source import SourceSection, TagSection
from meltledger.linefile.words import TagPath


class MqttJsonTag(TagSection):
    """Where one tag comes from."""

    topic: str = Field(description="Topic of the messages that carry it.")

    @property
    def address(self) -> str:
        """What the source calls the tag."""
        return self.topic


class MqttJsonSection(SourceSection):
    """One broker whose messages carry JSON."""

    kind: Literal["mqtt-json"] = Field(description="Protocol: MQTT with JSON payloads.")
    broker: str = Field(
        pattern=r"^mqtts?://[^/\s]+", description="Address: mqtt://HOST:PORT or mqtts://HOST:PORT."
    )
    tags: dict[TagPath, MqttJsonTag] = Field(
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
