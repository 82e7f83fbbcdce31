"""How samples lie in the JSON messages of a topic: what is name, value, time and quality."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from collector.json.pointer import pointer
from collector.json.timestamps import TimeFormat, check_zone
from historian.errors import WrongInput

_PART: Final = re.compile(r"\{([^{}]*)\}")


@dataclass(frozen=True, slots=True)
class JsonShape:
    """One kind of message.

    Attributes:
        topic: filter of MQTT; each ``+`` is a part that ``name`` may use as {1}, {2} and so on.
        name: what a sample is called: a text with parts {topic}, {1}, {key}; or a pointer inside an item.
        each: pointer to the list or object whose items are samples; None: the message is one sample.
        names: of the items of a list that holds nothing but values, in its order.
        value: pointer to the value inside an item.
        time: pointer to the time inside an item; None: the message's, or that of arrival.
        message_time: pointer to the time of all items of a message.
        time_format, zone: how times are written.
        quality: pointer to the quality inside an item; None: good.
        good: what stands there for a good value, everything else being bad; empty: OPC UA StatusCodes.
        numbers_as_text: whether a text that reads as a number is one.
        qos: what is subscribed with.

    Raises:
        WrongInput: the parts do not go together.
    """

    topic: str
    name: str = "{topic}"
    each: str | None = None
    names: tuple[str, ...] = ()
    value: str = ""
    time: str | None = None
    message_time: str | None = None
    time_format: TimeFormat = "iso"
    zone: str | None = None
    quality: str | None = None
    good: tuple[str | int | float | bool, ...] = ()
    numbers_as_text: bool = False
    qos: int = 1

    def __post_init__(self) -> None:
        captures = check_filter(self.topic)
        for place in (self.each, self.value, self.time, self.message_time, self.quality):
            if place is not None:
                pointer(place)
        check_zone(self.time_format, self.zone)
        if self.name.startswith("/"):
            pointer(self.name)
        for part in _PART.findall(self.name) if not self.name.startswith("/") else ():
            known = part in ("topic", "key") or (part.isdigit() and 1 <= int(part) <= captures)
            if not known:
                raise WrongInput(
                    f"name has a part {{{part}}}; there are {{topic}}, {{key}} and "
                    + (f"{{1}} to {{{captures}}}" if captures else "none for a +, as the topic has none")
                )
        if self.each is None and ("{key}" in self.name or self.names):
            raise WrongInput("{key} and names are for the items of each; add each, or take them out")
        if self.good and self.quality is None:
            raise WrongInput("good says which qualities are good; add quality, the place where they stand")

    def named(self, topic: str, captures: tuple[str, ...], key: str = "") -> str:
        """What a sample is called, where the name is no pointer."""
        parts = {"topic": topic, "key": key, **{str(n): c for n, c in enumerate(captures, 1)}}
        return _PART.sub(lambda part: parts[part[1]], self.name)


def check_filter(topic: str) -> int:
    """How many ``+`` a topic filter has.

    Raises:
        WrongInput: it is no topic filter.

    Source: MQTT 5.0, 4.7.
    """
    levels = topic.split("/")
    whole = all(level in ("+", "#") or not set(level) & set("+#") for level in levels)
    if not topic or "\0" in topic or not whole or "#" in levels[:-1] or len(topic.encode()) > 65_535:
        raise WrongInput(
            f"'{topic[:80]}' is not a topic filter: + stands for one level, # for all that follow, at the end"
        )
    return levels.count("+")


def captures_of(topic_filter: str, topic: str) -> tuple[str, ...] | None:
    """What stands for each ``+`` of a filter in a topic; None when the topic does not match.

    Source: MQTT 5.0, 4.7.

    Example:
        >>> captures_of("plant/+/zone/+", "plant/a/zone/3"), captures_of("plant/#", "other")
        (('a', '3'), None)
    """
    found: list[str] = []
    wanted, there = topic_filter.split("/"), topic.split("/")
    if topic.startswith("$") and wanted[0] in ("+", "#"):
        return None
    for place, level in enumerate(wanted):
        if level == "#":
            return tuple(found)
        if place >= len(there) or (level != "+" and level != there[place]):
            return None
        if level == "+":
            found.append(there[place])
    return tuple(found) if len(wanted) == len(there) else None
