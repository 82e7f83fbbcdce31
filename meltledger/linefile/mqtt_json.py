"""A ``[[source]]`` of kind ``mqtt-json``."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Annotated, Literal

from pydantic import Field

from collector.json.shape import JsonShape
from collector.json.timestamps import TimeFormat
from historian.errors import WrongInput
from historian.written import Section
from meltledger.linefile.broker import BrokerKeys
from meltledger.linefile.source import SourceSection, TagSection
from meltledger.linefile.words import Place, Seconds, TagPath


class JsonTag(TagSection):
    """What the messages call one tag."""

    name: str = Field(min_length=1, description="What the messages call it, as [[source.message]] makes it.")
    codes: dict[str, float] = Field(
        default_factory=dict, description="Texts that stand for numbers, as { RUN = 1, STOP = 0 }."
    )

    @property
    def address(self) -> str:
        """What the source calls the tag."""
        return self.name


class JsonMessage(Section):
    """One kind of message: its topics, and where name, value, time and quality stand in it."""

    topic: str = Field(description="Topics that are read; + stands for one level, # for all that follow.")
    name: str = Field(
        "{topic}",
        description="What a sample is called: a text with {topic}, {1} for the first +, {key} for its key "
        "in each; or /POINTER to a name inside the sample.",
    )
    each: str | None = Field(
        None, description="/POINTER to the list or object that holds many samples; one sample if left out."
    )
    names: tuple[str, ...] = Field((), description="each: names of a list of plain values, in its order.")
    value: str = Field(
        "", description="/POINTER to the value inside the sample; the sample itself if left out."
    )
    time: str | None = Field(None, description="/POINTER to the time inside the sample.")
    message_time: str | None = Field(None, description="/POINTER to one time for all samples of the message.")
    time_format: TimeFormat = Field(
        "iso", description="How times are written: ISO 8601 text, or a count since 1970."
    )
    zone: str | None = Field(None, description="iso: IANA zone of times that name none.")
    quality: str | None = Field(
        None, description="/POINTER to the quality inside the sample; good if left out."
    )
    good: tuple[str | int | float | bool, ...] = Field(
        (), description="quality: what stands there when the value is good; an OPC UA StatusCode if left out."
    )
    numbers_as_text: bool = Field(False, description='Whether "71.3" in quotation marks is a number.')
    qos: Literal[0, 1] = Field(1, description="1: the broker keeps what was not stored; 0: it does not.")

    def shape(self) -> JsonShape:
        """As the collector takes it.

        Raises:
            WrongInput: the keys do not go together.
        """
        return JsonShape(**self.model_dump())


class MqttJsonSection(BrokerKeys, SourceSection):
    """One broker whose messages carry JSON."""

    kind: Literal["mqtt-json"] = Field(description="Protocol: MQTT with JSON payloads.")
    session: Seconds = Field(
        86_400.0, description="How long the broker keeps what it cannot deliver.", validate_default=False
    )
    window: Annotated[int, Field(ge=1, le=65_535)] = Field(
        1000,
        description="Messages that the broker sends before the first is acknowledged: what its "
        "max_inflight_messages says.",
    )
    largest: Annotated[int, Field(ge=1024, le=268_435_455)] = Field(
        1_048_576, description="Longest message that is read, in bytes."
    )
    message: tuple[JsonMessage, ...] = Field(min_length=1, description="The kinds of message.")
    tags: dict[TagPath, JsonTag] = Field(
        min_length=1, description="Canonical tag path → what the messages call it."
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
        for number, message in enumerate(self.message):
            try:
                message.shape()
            except WrongInput as error:
                yield ("message", number), str(error)
        names = Counter(tag.name for tag in self.tags.values())
        for path, tag in self.tags.items():
            if names[tag.name] > 1:
                yield ("tags", path), f"'{tag.name}' is the name of {names[tag.name]} tags; keep one of them"

    def notes(self) -> Iterator[str]:
        """What must be set at the broker."""
        where = f"source {self.name}"
        if any(message.qos for message in self.message):
            yield (
                f"{where}: nothing is lost while this line is away only if its broker keeps it: set there "
                f"persistence true, max_queued_messages 0, max_inflight_messages {self.window} (docs/mqtt.md)"
            )
        if unkept := [message.topic for message in self.message if not message.qos]:
            yield f"{where}: with qos = 0 no broker keeps {', '.join(unkept)} while this line is away"
