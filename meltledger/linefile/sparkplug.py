"""A ``[[source]]`` of kind ``sparkplug``."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from typing import Annotated, Literal

from pydantic import Field

from collector.sparkplug.topic import check_part, read_address
from historian.written import quantity_in
from meltledger.linefile.broker import BrokerKeys
from meltledger.linefile.source import SourceSection, TagSection
from meltledger.linefile.words import Place, TagPath, checked


def _part(what: str) -> Callable[[str], str]:
    def check(value: str) -> str:
        return check_part(value, what)

    return check


def _metric(value: str) -> str:
    read_address(value)
    return value


Metric = Annotated[str, checked(_metric)]


class SparkplugTag(TagSection):
    """Where one tag comes from."""

    metric: Metric = Field(description="NODE/DEVICE/METRIC, or NODE//METRIC of the edge node itself.")

    @property
    def address(self) -> str:
        """What the source calls the tag."""
        return self.metric


class SparkplugSection(BrokerKeys, SourceSection):
    """One group of Sparkplug B edge nodes behind a broker."""

    kind: Literal["sparkplug"] = Field(description="Protocol: Sparkplug B 3.0 over MQTT.")
    group: Annotated[str, checked(_part("the group"))] = Field(description="Sparkplug group.")
    host_id: Annotated[str, checked(_part("the host_id"))] | None = Field(
        None,
        description="Our name as a host application: edge nodes wait for it where it is their primary host, "
        "and no other host may have it. Made of line and source if left out.",
    )
    reorder: Annotated[float, quantity_in("s"), Field(ge=0, le=600)] = Field(
        2.0,
        description="How long a message may be missing before its edge node is asked to be born again.",
        validate_default=False,
    )
    largest: Annotated[int, Field(ge=1024, le=268_435_455)] = Field(
        4_194_304, description="Longest message that is read, in bytes, also after unpacking."
    )
    texts: tuple[Metric, ...] = Field(
        (), description="Metrics that are told in the journal as texts when they change; as in tags."
    )
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
        counted = Counter(tag.metric for tag in self.tags.values())
        for path, tag in self.tags.items():
            if counted[tag.metric] > 1:
                yield (
                    ("tags", path, "metric"),
                    f"'{tag.metric}' is the metric of {counted[tag.metric]} tags; keep one of them",
                )
        for place, metric in enumerate(self.texts):
            if metric in counted:
                yield ("texts", place), f"'{metric}' is a tag as well; take it out here or there"
