"""Messages that lie in the bytes like one before: what changes stands at known places.

A machine that sends the same metrics again and again sends the same bytes again and again, but for the times
and the values. Reading a message field by field costs an object and several calls a metric; comparing it with
the pattern of an earlier one and taking out what changes costs a few operations for all metrics together.
Whatever does not lie exactly like a pattern is read the general way, which gives the same.

Source: Protocol Buffers, encoding of messages.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from collector.sparkplug.metrics import LATEST_MS, NO_TIME, Heard
from collector.sparkplug.types import Kind

Octets = NDArray[np.uint8]

_VARINT, _FIXED64, _LENGTH, _FIXED32 = 0, 1, 2, 5
_CONTINUES: Final = 0x80
_LONGEST: Final = 9
"""Bytes of a variable length integer that stays below 2**63; longer ones are left to the general way."""

_WEIGHTS: Final = 128 ** np.arange(_LONGEST, dtype=np.int64)
_FLOAT32, _FLOAT64 = np.dtype("<f4"), np.dtype("<f8")


class _What(Enum):
    """What changes from message to message."""

    SENT = "sent"
    SEQ = "seq"
    TIME = "time"
    WHOLE = "whole"
    FLOAT = "float"
    DOUBLE = "double"


_OF_MESSAGE: Final = {(1, _VARINT): _What.SENT, (3, _VARINT): _What.SEQ}
_OF_METRIC: Final = {
    (3, _VARINT): _What.TIME, (Kind.INT, _VARINT): _What.WHOLE, (Kind.LONG, _VARINT): _What.WHOLE,
    (Kind.BOOLEAN, _VARINT): _What.WHOLE, (Kind.FLOAT, _FIXED32): _What.FLOAT,
    (Kind.DOUBLE, _FIXED64): _What.DOUBLE,
}  # fmt: skip
_SAME: Final = {(2, _VARINT), (4, _VARINT), (5, _VARINT), (6, _VARINT), (7, _VARINT), (9, _LENGTH)}
"""Alias, type, flags, properties: as they were."""

_LONGEST_VALUE: Final = {Kind.INT: 5, Kind.BOOLEAN: 1}


@dataclass(frozen=True, slots=True)
class _Spot:
    """Things of one sort that have equally many bytes.

    Attributes:
        places: of the metrics that they belong to, shape (n,).
        index: where their bytes stand, shape (n, bytes).
    """

    what: _What
    places: NDArray[np.intp]
    index: NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Pattern:
    """How a message lies.

    Attributes:
        mask, want: another one lies like this when it is as long and ``bytes & mask == want``.
        like: what the message said; all that does not change is taken from there.
        sent, seq: where the message's own time and number stand; None where it has none.
        spots: what else changes, and where it stands.
    """

    mask: Octets
    want: bytes
    like: Heard
    sent: slice | None
    seq: slice | None
    spots: tuple[_Spot, ...]

    def read(self, body: bytes) -> Heard | None:
        """What a message says that lies like this; None when it does not.

        Args:
            body: as long as the message of the pattern.
        """
        octets = np.frombuffer(body, np.uint8)
        if (octets & self.mask).tobytes() != self.want:
            return None
        like = self.like.metrics
        time_ms, whole, number = like.time_ms, like.whole, like.number
        for spot in self.spots:
            taken = octets.take(spot.index)
            if spot.what is _What.TIME:
                time_ms = _put(spot, _times(taken), time_ms, like.time_ms)
            elif spot.what is _What.WHOLE:
                whole = _put(spot, _varints(taken), whole, like.whole)
            else:
                values = taken.view(_FLOAT32 if spot.what is _What.FLOAT else _FLOAT64)[:, 0]
                number = _put(spot, values, number, like.number)
        return Heard(
            self.like.time_ms if self.sent is None else _time(body[self.sent]),
            self.like.seq if self.seq is None else _whole(body[self.seq]),
            like.with_content(time_ms, whole, number),
        )


def _put(spot: _Spot, values: NDArray[Any], column: NDArray[Any], like: NDArray[Any]) -> NDArray[Any]:
    """The column with these values in it; the pattern's own is never changed."""
    if len(spot.places) == len(column):
        return values.astype(column.dtype, copy=False)
    if column is like:
        column = like.copy()
    column[spot.places] = values
    return column


def _varints(taken: Octets) -> NDArray[np.uint64]:
    """Variable length integers from their bytes, shape (n, bytes) to (n,)."""
    size = taken.shape[1]
    return np.asarray(((taken & 0x7F).astype(np.int64) @ _WEIGHTS[:size]).view(np.uint64))


def _times(taken: Octets) -> NDArray[np.int64]:
    raw, first = taken.tobytes(), taken[0].tobytes()
    if raw == first * len(taken):
        # Machines mostly stamp all of a message alike.
        return np.full(len(taken), _time(first), np.int64)
    time_ms = _varints(taken).view(np.int64)
    return np.where(time_ms <= LATEST_MS, time_ms, np.int64(NO_TIME))


def _whole(octets: bytes) -> int:
    whole = 0
    for octet in reversed(octets):
        whole = whole << 7 | octet & 0x7F
    return whole


def _time(octets: bytes) -> int:
    time_ms = _whole(octets)
    return time_ms if time_ms <= LATEST_MS else NO_TIME


def learn(body: bytes, heard: Heard) -> Pattern | None:
    """The pattern of a message; None when it holds what is not read so.

    Args:
        heard: what it says, read the general way.
    """
    mask = np.full(len(body), 0xFF, np.uint8)
    groups: dict[tuple[_What, int], list[tuple[int, int]]] = {}
    try:
        for place, what, start, stop in _walk(body):
            mask[start:stop] = 0 if what in (_What.FLOAT, _What.DOUBLE) else _CONTINUES
            groups.setdefault((what, stop - start), []).append((place, start))
    except (IndexError, _Unusual):
        return None
    spots = []
    own: dict[_What, slice] = {}
    for (what, size), found in groups.items():
        if what in (_What.SENT, _What.SEQ):
            own[what] = slice(found[0][1], found[0][1] + size)
            continue
        places, starts = np.array(found, np.intp).T
        spots.append(_Spot(what, places, starts[:, None] + np.arange(size)))
    want = (np.frombuffer(body, np.uint8) & mask).tobytes()
    return Pattern(mask, want, heard, own.get(_What.SENT), own.get(_What.SEQ), tuple(spots))


class _Unusual(Exception):
    """A message that is read the general way."""


def _walk(body: bytes) -> Iterator[tuple[int, _What, int, int]]:
    """What changes in a message: place of the metric, what it is, first byte and the one behind the last."""
    seen: set[int] = set()
    place = 0
    for field, wire, start, stop in _fields(body, 0, len(body)):
        what = _OF_MESSAGE.get((field, wire))
        if what is not None and field not in seen:
            seen.add(field)
            yield 0, what, start, stop
        elif (field, wire) == (2, _LENGTH):
            for found, begin, end in _walk_metric(body, start, stop):
                yield place, found, begin, end
            place += 1
        else:
            raise _Unusual


def _walk_metric(body: bytes, start: int, stop: int) -> Iterator[tuple[_What, int, int]]:
    seen: set[int] = set()
    values = 0
    for field, wire, begin, end in _fields(body, start, stop):
        what = _OF_METRIC.get((field, wire))
        if field in seen or (what is None and (field, wire) not in _SAME):
            raise _Unusual
        seen.add(field)
        if what is None:
            continue
        if field >= Kind.INT:
            values += 1
            if values > 1 or (wire == _VARINT and end - begin > _LONGEST_VALUE.get(Kind(field), _LONGEST)):
                raise _Unusual
        yield what, begin, end


def _fields(body: bytes, at: int, end: int) -> Iterator[tuple[int, int, int, int]]:
    """Number, wire type and place of each field between two bytes."""
    while at < end:
        key = body[at]
        wire = key & 7
        if key >= _CONTINUES:
            raise _Unusual
        start = stop = at + 1
        if wire == _FIXED64:
            stop += 8
        elif wire == _FIXED32:
            stop += 4
        else:
            while body[stop] >= _CONTINUES:
                stop += 1
            stop += 1
            if stop - start > _LONGEST or wire not in (_VARINT, _LENGTH):
                raise _Unusual
            if wire == _LENGTH:
                start, stop = stop, stop + _whole(body[start:stop])
        if stop > end:
            raise _Unusual
        yield key >> 3, wire, start, stop
        at = stop
