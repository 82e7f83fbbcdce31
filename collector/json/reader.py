"""From JSON messages to samples, many at a time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import orjson
from numpy.typing import NDArray

from collector.complaints import Complaints
from collector.json.pointer import MISSING, pointer
from collector.json.shape import JsonShape, captures_of
from collector.json.timestamps import time_reader
from historian.quality import BAD

COMPLAINTS: Final = {
    "malformed": "messages that are no JSON",
    "shape": "messages that are not built as the line's file says",
    "time": "samples whose time cannot be read",
    "unknown": "samples that the line's file does not name",
    "text": "texts where a number belongs",
    "large": "messages larger than the limit",
    "topic": "messages of a topic that nothing in the line's file reads",
    "exact": "whole numbers too large to be kept exactly",
}
"""What may be wrong with a message, for ``Complaints``."""

_TOPICS = 20_000  # remembered; more are looked up each time
_EXACT = 2**53

Item = tuple[str, object]


@dataclass(slots=True)
class Block:
    """Samples that were read and wait to become columns, in the order in which they came.

    Attributes:
        at: places of the tags in the source's list: one array for a batch whose layout is known, else a list.
        raw: what was said; a number, a truth value, None, or what is neither.
        time_ns: one for all, or one each.
        quality: one for all, or one each.
    """

    at: list[int] | NDArray[np.intp]
    raw: list[object]
    time_ns: int | list[int]
    quality: int | list[int] = 0

    def __len__(self) -> int:
        return len(self.raw)


@dataclass(slots=True)
class _Topic:
    """What is known of a topic: its shape, what single samples are called, and the last batch's layout."""

    shape: _Shape
    captures: tuple[str, ...]
    at: int | None = None
    keys: tuple[str, ...] = ()
    layout: NDArray[np.intp] | None = None
    chosen: list[int] | None = None


@dataclass(frozen=True, slots=True)
class _Message:
    """One message on its way: where it came from, and the time of samples that bring none themselves."""

    topic: str
    payload: bytes
    sent_ns: int | None
    stamped: bool


class _Shape:
    """A shape with its pointers and times made ready."""

    def __init__(self, shape: JsonShape) -> None:
        self.said = shape
        self.name = pointer(shape.name) if shape.name.startswith("/") else None
        self.each = None if shape.each is None else pointer(shape.each)
        self.value = pointer(shape.value)
        self.time = None if shape.time is None else pointer(shape.time)
        self.message_time = None if shape.message_time is None else pointer(shape.message_time)
        self.quality = None if shape.quality is None else pointer(shape.quality)
        self.time_ns = time_reader(shape.time_format, shape.zone)
        # Nothing but names and values: the quick way.
        self.plain = (
            not shape.value and self.time is None and self.quality is None and not shape.numbers_as_text
        )


class JsonReader:
    """Reads messages into blocks of samples.

    Nothing is raised for what a message may hold; what cannot be kept is counted in ``complaints``.

    Args:
        shapes: the kinds of message; the first whose topic matches reads it.
        names: what the source calls its tags → their place in the source's list.
        codes: per place, texts that stand for numbers.
        complaints: where what cannot be kept is counted.
        largest_byte: longer messages are left.

    Attributes:
        unstamped: samples that came without a time.
    """

    def __init__(
        self,
        shapes: Sequence[JsonShape],
        names: Mapping[str, int],
        codes: Mapping[int, Mapping[str, float]],
        complaints: Complaints,
        *,
        largest_byte: int = 1_048_576,
    ) -> None:
        self._shapes = [_Shape(shape) for shape in shapes]
        self._names, self._codes, self._complaints = dict(names), codes, complaints
        self._largest_byte = largest_byte
        self._topics: dict[str, _Topic | None] = {}
        self._open = Block([], [], [], [])
        self._blocks: list[Block] = []
        self.samples = 0
        self.unstamped = 0

    def read(self, topic: str, payload: bytes, arrival_ns: int | None) -> None:
        """Read one message.

        Args:
            arrival_ns: when it came, for samples without a time; None leaves such samples out.
        """
        known = self._topics[topic] if topic in self._topics else self._look_up(topic)
        if known is None:
            self._complaints.add("topic", topic, payload)
            return
        if len(payload) > self._largest_byte:
            self._complaints.add("large", topic, f"{len(payload)} bytes, {self._largest_byte} are allowed")
            return
        try:
            document = orjson.loads(payload)
        except ValueError:
            self._complaints.add("malformed", topic, payload)
            return
        shape = known.shape
        message = _Message(topic, payload, arrival_ns, False)
        if shape.message_time is not None:
            sent_ns = shape.time_ns(shape.message_time(document))
            if sent_ns is None:
                self._complaints.add("time", topic, payload)
                return
            message = _Message(topic, payload, sent_ns, True)
        if shape.each is None:
            self._one(known, message, "", document)
        else:
            self._many(known, message, shape.each(document))

    def take(self) -> list[Block]:
        """What was read since the last call; hands it over."""
        self._close()
        blocks, self._blocks = self._blocks, []
        self.samples = 0
        return blocks

    def _look_up(self, topic: str) -> _Topic | None:
        found: _Topic | None = None
        for shape in self._shapes:
            captures = captures_of(shape.said.topic, topic)
            if captures is not None:
                found = _Topic(shape, captures)
                if shape.each is None and shape.name is None:
                    found.at = self._names.get(shape.said.named(topic, captures))
                break
        if len(self._topics) < _TOPICS:
            self._topics[topic] = found
        return found

    def _one(self, known: _Topic, message: _Message, key: str, item: object) -> None:
        """One sample, wherever it stands."""
        shape = known.shape
        at = known.at
        if shape.name is not None:
            said = shape.name(item)
            at = self._names.get(said) if isinstance(said, str) else None
        elif shape.each is not None:
            at = self._names.get(shape.said.named(message.topic, known.captures, key))
        if at is None:
            self._complaints.add("unknown", message.topic, message.payload)
            return
        raw = shape.value(item)
        if raw is MISSING:
            self._complaints.add("shape", message.topic, message.payload)
            return
        time_ns, stamped = message.sent_ns, message.stamped
        if shape.time is not None and (said := shape.time(item)) is not MISSING:
            time_ns, stamped = shape.time_ns(said), True
            if time_ns is None:
                self._complaints.add("time", message.topic, message.payload)
                return
        if time_ns is None:
            return  # kept by the broker from some time before: nobody knows when
        self.unstamped += not stamped
        quality = 0 if shape.quality is None else self._quality(shape, item)
        block = self._open
        block.at.append(at)  # type: ignore[union-attr]
        block.raw.append(self._plain(shape, at, raw, message.topic) if type(raw) is not float else raw)
        block.time_ns.append(time_ns)  # type: ignore[union-attr]
        block.quality.append(quality)  # type: ignore[union-attr]
        self.samples += 1

    def _many(self, known: _Topic, message: _Message, items: object) -> None:
        """The samples of a batch."""
        shape = known.shape
        names = shape.said.names
        if isinstance(items, dict):
            if shape.plain and shape.name is None:
                self._laid_out(known, message, tuple(items), list(items.values()))
                return
            for key, item in items.items():
                self._one(known, message, key, item)
        elif not isinstance(items, list) or (names and len(names) != len(items)):
            self._complaints.add("shape", message.topic, message.payload)
        elif names and shape.plain:
            self._laid_out(known, message, names, items)
        else:
            for key, item in zip(names or map(str, range(len(items))), items, strict=True):
                self._one(known, message, key, item)

    def _laid_out(
        self, known: _Topic, message: _Message, keys: tuple[str, ...], values: list[object]
    ) -> None:
        """A batch of nothing but names and values: its layout is remembered, as it will come again."""
        if keys != known.keys or known.layout is None:
            named = known.shape.said.named
            places = [self._names.get(named(message.topic, known.captures, key)) for key in keys]
            known.keys, known.chosen = keys, None
            if None in places:
                known.chosen = [n for n, at in enumerate(places) if at is not None]
            known.layout = np.array([at for at in places if at is not None], np.intp)
        if known.chosen is not None:
            unknown = len(values) - len(known.chosen)
            self._complaints.add("unknown", message.topic, message.payload, unknown)
            values = [values[n] for n in known.chosen]
        if message.sent_ns is None or not values:
            return
        if not message.stamped:
            self.unstamped += len(values)
        if not _NUMBERS.issuperset(map(type, values)):
            at = known.layout.tolist()
            values = [
                self._plain(known.shape, a, raw, message.topic) for a, raw in zip(at, values, strict=True)
            ]
        self._close()
        self._blocks.append(Block(known.layout, values, message.sent_ns))
        self.samples += len(values)

    def _plain(self, shape: _Shape, at: int, raw: object, topic: str) -> object:
        """A number as it is, a code's number, or what stays wrong, counted."""
        if raw is None or isinstance(raw, int | float):
            if isinstance(raw, int) and not -_EXACT <= raw <= _EXACT:
                self._complaints.add("exact", topic, raw)
            return raw
        if isinstance(raw, str):
            number = self._codes.get(at, {}).get(raw)
            if number is not None:
                return number
            if shape.said.numbers_as_text and (number := _number(raw)) is not None:
                return number
        self._complaints.add("text", topic, raw)
        return raw

    def _quality(self, shape: _Shape, item: object) -> int:
        said = shape.quality(item)  # type: ignore[misc]
        if said is MISSING:
            return 0
        if shape.said.good:
            # 1 and true are told apart: 192 may be good where true is not.
            return 0 if any(said == g and type(said) is type(g) for g in shape.said.good) else BAD
        if type(said) is int and 0 <= said < 2**32:
            return said
        return BAD

    def _close(self) -> None:
        if self._open.raw:
            self._blocks.append(self._open)
            self._open = Block([], [], [], [])


_NUMBERS: Final = frozenset({float, int, bool, type(None)})


def _number(text: str) -> float | None:
    """The number that a text writes in digits; None for everything else, also for nan and inf."""
    try:
        number = float(text)
    except ValueError:
        return None
    return number if number - number == 0.0 and text.isascii() and "_" not in text else None
