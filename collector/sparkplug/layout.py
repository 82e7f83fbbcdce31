"""How a metric lies in the bytes of a message, so that many that lie alike are read at once.

Reading field by field costs an object and several calls a metric. But the metrics of a message are mostly
alike: an alias, a time, a number. Which bytes are structure (keys, lengths, flags) and which are content
(alias, time, value) is learnt from one; another one that has the same structure has its content in the same
places. Everything that is not understood here is left to the general way, which gives the same.

Source: Protocol Buffers, encoding of messages.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from collector.sparkplug.types import Kind

Octets = NDArray[np.uint8]

_VARINT, _FIXED64, _LENGTH, _FIXED32 = 0, 1, 2, 5
_ALIAS, _TIME = 2, 3
_EXACT: Final = {(4, _VARINT), (5, _VARINT), (6, _VARINT), (7, _VARINT), (9, _LENGTH)}
"""Fields whose bytes are structure: data type, flags, properties."""

_VALUES: Final = {
    (Kind.INT, _VARINT): 5, (Kind.LONG, _VARINT): 9, (Kind.FLOAT, _FIXED32): 4, (Kind.DOUBLE, _FIXED64): 8,
    (Kind.BOOLEAN, _VARINT): 1,
}  # fmt: skip
"""Fields with a number → how many bytes it has at most; longer forms are left to the general way."""

_LONGEST: Final = 9
"""Bytes of a variable length integer that stays below 2**63."""

_CONTINUES: Final = 0x80
_SHIFTS: Final = np.arange(0, 7 * _LONGEST, 7, dtype=np.uint64)


@dataclass(frozen=True, slots=True)
class Layout:
    """Where a metric's content lies; all places count from the metric's first byte.

    Attributes:
        mask, want: a metric of this size lies like this when ``bytes & mask == want``, shape (size,).
        alias, time, value: first byte and the one behind the last; None where there is none.
        kind: which field holds the value.
    """

    mask: Octets
    want: Octets
    alias: tuple[int, int]
    time: tuple[int, int] | None
    value: tuple[int, int] | None
    kind: Kind

    def fits(self, rows: Octets) -> NDArray[np.bool_]:
        """Which of the metrics lie like this.

        Args:
            rows: their bytes, shape (n, size).
        """
        return np.asarray(((rows & self.mask) == self.want).all(axis=1))


def learn(metric: bytes) -> Layout | None:
    """How this metric lies; None when it has something that is not read here."""
    try:
        return _learn(metric)
    except IndexError:
        return None  # it is cut off


def _learn(metric: bytes) -> Layout | None:
    mask = np.full(len(metric), 0xFF, np.uint8)
    found: dict[int, tuple[int, int]] = {}
    at = 0
    while at < len(metric):
        field, wire = metric[at] >> 3, metric[at] & 7
        start = at + 1
        stop = _end(metric, start, wire)
        if metric[at] >= _CONTINUES or stop is None or field in found:
            return None
        found[field] = (start, stop)
        if (field, wire) in ((_ALIAS, _VARINT), (_TIME, _VARINT)):
            mask[start:stop] = _CONTINUES
        elif longest := _VALUES.get((Kind(field), wire) if field in _KINDS else (Kind.NONE, wire)):
            if stop - start > longest:
                return None
            mask[start:stop] = _CONTINUES if wire == _VARINT else 0
        elif (field, wire) not in _EXACT:
            return None
        at = stop
    kinds = [Kind(f) for f in found if f in _KINDS]
    if at != len(metric) or _ALIAS not in found or len(kinds) > 1:
        return None
    kind = kinds[0] if kinds else Kind.NONE
    want = np.frombuffer(metric, np.uint8) & mask
    return Layout(mask, want, found[_ALIAS], found.get(_TIME), found.get(kind), kind)


_KINDS: Final = frozenset(Kind) - {Kind.NONE}


def _end(metric: bytes, start: int, wire: int) -> int | None:
    """Where a field ends that begins here; None when it is not read here."""
    if wire == _FIXED64:
        return start + 8
    if wire == _FIXED32:
        return start + 4
    at = start
    while metric[at] >= _CONTINUES:
        at += 1
    at += 1
    if wire == _VARINT:
        return at if at - start <= _LONGEST else None
    if wire != _LENGTH or at - start > 1:
        return None
    return at + metric[start]


def varints(rows: Octets, place: tuple[int, int]) -> NDArray[np.uint64]:
    """The variable length integers that lie at a place of each row, shape (n,)."""
    start, stop = place
    if stop - start == 1:
        return rows[:, start].astype(np.uint64)
    parts = (rows[:, start:stop] & 0x7F).astype(np.uint64)
    return np.asarray((parts << _SHIFTS[: stop - start]).sum(axis=1, dtype=np.uint64))


def split(body: bytes) -> tuple[dict[int, int], list[int], list[int]] | None:
    """The whole numbers of a message by field, and where each metric starts and how many bytes it has.

    Returns:
        None when the message holds anything else, or is damaged: then the general way says what it is.
    """
    said: dict[int, int] = {}
    starts: list[int] = []
    sizes: list[int] = []
    at, end = 0, len(body)
    try:
        while at < end:
            key = body[at]
            if key == 0x12:
                size = body[at + 1]
                at += 2
                if size >= _CONTINUES:
                    if body[at] >= _CONTINUES:
                        return None
                    size += (body[at] - 1) << 7
                    at += 1
                starts.append(at)
                sizes.append(size)
                at += size
            elif key in (0x08, 0x18):
                stop = _end(body, at + 1, _VARINT)
                if stop is None:
                    return None
                said[key >> 3] = _whole(body, at + 1, stop)
                at = stop
            else:
                return None
    except IndexError:
        return None
    return (said, starts, sizes) if at == end else None


def _whole(body: bytes, start: int, stop: int) -> int:
    return sum((octet & 0x7F) << 7 * n for n, octet in enumerate(body[start:stop]))
