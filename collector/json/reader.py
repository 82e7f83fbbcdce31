"""From JSON messages to samples, many at a time."""

from __future__ import annotations

from array import array
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import orjson
from numpy.typing import NDArray

from collector.complaints import Complaints
from collector.json.columns import EXACT, Block
from collector.json.pointer import MISSING
from collector.json.ready import ReadyShape
from collector.json.shape import JsonShape, captures_of

COMPLAINTS: Final = {
    "malformed": "messages that are no JSON",
    "shape": "messages that are not built as the line's file says",
    "time": "samples whose time cannot be read",
    "unknown": "samples that the line's file does not name",
    "text": "texts where a number belongs",
    "large": "messages larger than the limit",
    "topic": "messages of a topic that nothing in the line's file reads",
    "exact": "whole numbers too large to be kept exactly",
    "failed": "messages that this program could not read, which is its own fault; report it",
}
"""What may be wrong with a message, for ``Complaints``."""

_TOPICS = 20_000  # remembered; more are looked up each time
_HELD_BYTE = 32 * 1_048_576  # topics, and batches whose layout is remembered; beyond it all is forgotten


@dataclass(slots=True)
class _Topic:
    """What is known of a topic: its shape, what single samples are called, and the last batch's layout.

    Attributes:
        at: place of the tag of its messages, where each is one sample.
        keys: names in the last batch.
        layout: places of their tags, of those that are known.
        chosen: which of the names are known; None when all are.
        held_byte: length of the topic and of the batch whose layout this is.
    """

    shape: ReadyShape
    captures: tuple[str, ...]
    at: int | None = None
    keys: list[object] | None = None
    layout: NDArray[np.intp] | None = None
    chosen: list[int] | None = None
    held_byte: int = 0


@dataclass(slots=True)
class _Message:
    """One message on its way.

    Attributes:
        sent_ns: time of samples that bring none themselves; None: they are left out.
        stamped: whether that is the source's.
    """

    topic: str
    payload: bytes | bytearray
    sent_ns: int | None
    stamped: bool


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
        self._shapes = [ReadyShape(shape) for shape in shapes]
        self._names, self._codes, self._complaints = dict(names), codes, complaints
        self._largest_byte = largest_byte
        self._topics: dict[str, _Topic | None] = {}
        self._held_byte = 0
        self._open = Block([], [], [], [])
        self._blocks: list[Block] = []
        self.samples = 0
        self.unstamped = 0

    def read(self, topic: str, payload: bytes | bytearray, arrival_ns: int | None) -> None:
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
            message.sent_ns, message.stamped = shape.time_ns(shape.message_time(document)), True
            if message.sent_ns is None:
                self._complaints.add("time", topic, payload)
                return
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
            self._hold(found, len(topic))
        return found

    def _hold(self, known: _Topic | None, byte: int) -> None:
        """Remember no more than is good: who may publish decides what topics and batches there are."""
        if known is not None:
            byte, known.held_byte = byte - known.held_byte, byte
        self._held_byte += byte
        if self._held_byte > _HELD_BYTE:
            self._topics.clear()
            self._held_byte = 0

    def _one(self, known: _Topic, message: _Message, key: str, item: object) -> None:
        """One sample, wherever it stands."""
        shape = known.shape
        at = known.at
        if shape.name is not None:
            at = self._place(known, message.topic, shape.name(item))
        elif shape.each is not None:
            at = self._place(known, message.topic, key)
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
        block = self._open
        block.at.append(at)  # type: ignore[union-attr]
        block.raw.append(raw if type(raw) is float else self._plain(shape, at, raw, message.topic))  # type: ignore[arg-type]
        block.time_ns.append(time_ns)  # type: ignore[union-attr]
        block.quality.append(0 if shape.quality is None else shape.quality_of(shape.quality(item)))  # type: ignore[union-attr]
        self.samples += 1

    def _many(self, known: _Topic, message: _Message, items: object) -> None:
        """The samples of a batch: all at once where they are alike, else one by one."""
        names: Sequence[str] | None = known.shape.said.names or None
        inside: list[object]
        if isinstance(items, dict):
            names, inside = list(items), list(items.values())
        elif isinstance(items, list) and (names is None or len(names) == len(items)):
            inside = items
        else:
            self._complaints.add("shape", message.topic, message.payload)
            return
        if not inside or self._alike(known, message, names, inside):
            return
        for key, item in zip(names or map(str, range(len(inside))), inside, strict=True):
            self._one(known, message, key, item)

    def _alike(
        self, known: _Topic, message: _Message, names: Sequence[object] | None, inside: list[object]
    ) -> bool:
        """A batch whose items are all built alike; False, and nothing is done, when they are not.

        Machines send the same names in the same order again and again, so their places are remembered.
        """
        shape = known.shape
        columns = shape.columns(inside)
        if columns is None:
            return False
        keys = columns.names if columns.names is not None else names
        if keys is None:
            return False
        time_ns: int | list[int] | None = message.sent_ns
        if columns.times is not None:
            time_ns = shape.times_ns(columns.times)
        if time_ns is None:
            return False
        values, quality = columns.values, columns.qualities
        if keys != known.keys or known.layout is None:
            self._lay_out(known, message.topic, list(keys))
            self._hold(known, len(message.topic) + len(message.payload))
        if (chosen := known.chosen) is not None:
            self._complaints.add("unknown", message.topic, message.payload, len(values) - len(chosen))
            values = [values[n] for n in chosen]
            time_ns = [time_ns[n] for n in chosen] if isinstance(time_ns, list) else time_ns
            quality = [quality[n] for n in chosen] if isinstance(quality, list) else quality
        if columns.times is None and not message.stamped:
            self.unstamped += len(values)
        if not values:
            return True
        layout = known.layout
        raw = _numbers(values) or [
            v if type(v) is float else self._plain(shape, a, v, message.topic)
            for a, v in zip(layout.tolist(), values, strict=True)  # type: ignore[union-attr]
        ]
        self._close()
        self._blocks.append(Block(layout, raw, time_ns, quality, message.topic))  # type: ignore[arg-type]
        self.samples += len(values)
        return True

    def _lay_out(self, known: _Topic, topic: str, keys: list[object]) -> None:
        places = [self._place(known, topic, key) for key in keys]
        known.keys, known.chosen = keys, None
        if None in places:
            known.chosen = [n for n, at in enumerate(places) if at is not None]
        known.layout = np.array([at for at in places if at is not None], np.intp)

    def _place(self, known: _Topic, topic: str, key: object) -> int | None:
        """Which tag a name in a message means."""
        if not isinstance(key, str):
            return None
        if known.shape.name is not None:
            return self._names.get(key)
        return self._names.get(known.shape.said.named(topic, known.captures, key))

    def _plain(self, shape: ReadyShape, at: int, raw: object, topic: str) -> object:
        """A number as it is, a code's number, or what stays wrong, counted."""
        if raw is None or isinstance(raw, int | float):
            if isinstance(raw, int) and not -EXACT <= raw <= EXACT:
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

    def _close(self) -> None:
        if self._open.raw:
            self._open.raw = _numbers(self._open.raw) or self._open.raw
            self._blocks.append(self._open)
            self._open = Block([], [], [], [])


def _numbers(values: list[object] | array[float]) -> array[float] | None:
    """The values as numbers; None when one is none. A text is no number here, whatever it says."""
    try:
        return array("d", values)  # type: ignore[arg-type]
    except (TypeError, OverflowError):
        return None


def _number(text: str) -> float | None:
    """The number that a text writes in digits; None for everything else, also for nan and inf."""
    try:
        number = float(text)
    except ValueError:
        return None
    return number if number - number == 0.0 and text.isascii() and "_" not in text else None
