"""What a server says of its nodes, as columns: from the bytes of a message, or from the library's objects.

The library makes several objects of every value, which costs more than all the rest of a sample's way. Most
values are plain numbers, and those lie in the bytes in a few fixed layouts; everything else goes through the
library, value by value, and gives the same.

Source: OPC 10000-6, 5.2.2.16 (Variant), 5.2.2.17 (DataValue); OPC 10000-4, 7.25.2 (DataChangeNotification).
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from asyncua import ua
from asyncua.common.utils import Buffer
from asyncua.ua.ua_binary import struct_from_binary
from numpy.typing import NDArray

from collector.opcua.times import NO_TIME, told_column_ns, told_ns

_VALUE, _STATUS, _SOURCE, _SERVER = 0x01, 0x02, 0x04, 0x08
_COUNT = struct.Struct("<i")
_STREAK = 4  # values alike, from which on it pays to look for more of them at once

_NUMBERS: Mapping[int, str] = {
    1: "u1", 2: "i1", 3: "u1", 4: "<i2", 5: "<u2", 6: "<i4", 7: "<u4", 8: "<i8", 9: "<u8",
    10: "<f4", 11: "<f8",
}  # fmt: skip
"""Variant's number of each built-in type that is a number → its form. Source: OPC 10000-6, table 1."""


@dataclass(frozen=True, slots=True)
class Changes:
    """Values in the order in which the server told them.

    Attributes:
        handle: the client's number of the monitored item, shape (n,).
        value: NaN where there is no number, shape (n,).
        status: StatusCode, shape (n,).
        source_ns, server_ns: time stamps; ``NO_TIME`` where there is none, shape (n,).
        odd: place → what stands there and is no plain number: None, a text, an array.
    """

    handle: NDArray[np.uint32]
    value: NDArray[np.float64]
    status: NDArray[np.uint32]
    source_ns: NDArray[np.int64]
    server_ns: NDArray[np.int64]
    odd: Mapping[int, object]

    def __len__(self) -> int:
        return len(self.handle)

    @classmethod
    def blank(cls, n: int) -> Changes:
        """Room for so many values, all of them missing."""
        return cls(
            np.zeros(n, np.uint32),
            np.full(n, np.nan),
            np.zeros(n, np.uint32),
            np.full(n, NO_TIME, np.int64),
            np.full(n, NO_TIME, np.int64),
            {},
        )

    def chosen(self, which: NDArray[np.bool_]) -> Changes:
        """Those of the mask, shape (n,)."""
        places = np.flatnonzero(which).tolist()
        odd = {new: self.odd[old] for new, old in enumerate(places) if old in self.odd}
        return Changes(
            self.handle[which],
            self.value[which],
            self.status[which],
            self.source_ns[which],
            self.server_ns[which],
            odd,
        )

    def raw(self) -> list[object]:
        """What was said, one after the other."""
        values: list[object] = self.value.tolist()
        for place, value in self.odd.items():
            values[place] = value
        return values


def columns_of(handles: Sequence[int], values: Sequence[ua.DataValue]) -> Changes:
    """The library's objects as columns."""
    changes = Changes.blank(len(handles))
    changes.handle[:] = handles
    odd: dict[int, object] = {}
    for place, data in enumerate(values):
        _set(changes, odd, place, data)
    return Changes(changes.handle, changes.value, changes.status, changes.source_ns, changes.server_ns, odd)


def changes_of(notification: ua.DataChangeNotification) -> Changes:
    """A notification that the library has decoded, as columns."""
    items = notification.MonitoredItems
    return columns_of([i.ClientHandle for i in items], [i.Value for i in items])


def decode(body: bytes) -> Changes:
    """The body of a DataChangeNotification, as columns.

    Raises:
        ValueError, IndexError, struct.error, UaError: it is damaged.
    """
    (count,) = _COUNT.unpack_from(body)
    # A value takes five bytes at the least: a count that cannot be must not ask for memory.
    if not 0 <= count <= len(body) // 5:
        raise ValueError(f"{count} values in {len(body)} bytes")
    changes = Changes.blank(count)
    odd: dict[int, object] = {}
    alike: dict[int, tuple[list[int], list[int]]] = {}
    octets = np.frombuffer(body, np.uint8)
    at, place, streak, last = _COUNT.size, 0, 0, -1
    while place < count:
        mask = body[at + 4]
        key = mask << 8 | body[at + 5] if mask & _VALUE else mask << 8
        size = _SIZES.get(key)
        if size is None:
            at += _by_library(changes, odd, place, body, at)
            place, last = place + 1, -1
            continue
        streak = streak + 1 if key == last else 0
        n = _run(octets[at:], key, size, count - place) if streak >= _STREAK else 1
        places, starts = alike.setdefault(key, ([], []))
        places.extend(range(place, place + n))
        starts.extend(range(at, at + n * size, size))
        at, place, last = at + n * size, place + n, key
    if at > len(body):
        raise ValueError(f"the last value ends at byte {at} of {len(body)}")
    for key, (places, starts) in alike.items():
        _by_layout(changes, key, np.array(places), np.array(starts), octets)
        if not key >> 8 & _VALUE:
            odd.update(dict.fromkeys(places))
    return Changes(changes.handle, changes.value, changes.status, changes.source_ns, changes.server_ns, odd)


def _run(octets: NDArray[np.uint8], key: int, size: int, most: int) -> int:
    """How many values from here on lie in the bytes in the same way, one behind the other."""
    most = min(most, len(octets) // size)
    same = octets[4::size][:most] == key >> 8
    if key >> 8 & _VALUE:
        same &= octets[5::size][:most] == key & 0xFF
    return max(1, most if same.all() else int(np.argmin(same)))


def _by_layout(changes: Changes, key: int, places: Any, starts: Any, octets: NDArray[np.uint8]) -> None:
    """All values that lie in the bytes in the same way, at once."""
    layout = _layout(key)
    size = layout.itemsize
    if len(starts) * size == starts[-1] + size - starts[0]:
        cut = octets[starts[0] : starts[-1] + size]  # one behind the other
    else:
        cut = octets[starts[:, None] + np.arange(size)].ravel()
    rows = cut.view(layout)
    changes.handle[places] = rows["handle"]
    if key >> 8 & _VALUE:
        changes.value[places] = rows["value"] != 0 if key & 0xFF == 1 else rows["value"]
    if key >> 8 & _STATUS:
        changes.status[places] = rows["status"]
    if key >> 8 & _SOURCE:
        changes.source_ns[places] = told_column_ns(rows["source"])
    if key >> 8 & _SERVER:
        changes.server_ns[places] = told_column_ns(rows["server"])


def _by_library(changes: Changes, odd: dict[int, object], place: int, body: bytes, at: int) -> int:
    """One value of any kind; gives how many bytes it takes."""
    buffer = Buffer(body, at)
    before = len(buffer)
    item = struct_from_binary(ua.MonitoredItemNotification, buffer)
    changes.handle[place] = item.ClientHandle
    _set(changes, odd, place, item.Value)
    return before - len(buffer)


def _set(changes: Changes, odd: dict[int, object], place: int, data: ua.DataValue) -> None:
    value = data.Value.Value if data.Value is not None else None
    number = _number(value)
    if number is None:
        odd[place] = value
    else:
        changes.value[place] = number
    if data.StatusCode is not None:
        changes.status[place] = data.StatusCode.value
    changes.source_ns[place] = told_ns(data.SourceTimestamp)
    changes.server_ns[place] = told_ns(data.ServerTimestamp)


def _number(value: object) -> float | None:
    if not isinstance(value, float | int):
        return None
    return float(value)


@cache
def _layout(key: int) -> np.dtype[Any]:
    """How a value with this mask and type lies in the bytes."""
    mask, kind = key >> 8, key & 0xFF
    fields = [("handle", "<u4"), ("mask", "u1")]
    if mask & _VALUE:
        fields += [("kind", "u1"), ("value", _NUMBERS[kind])]
    if mask & _STATUS:
        fields.append(("status", "<u4"))
    if mask & _SOURCE:
        fields.append(("source", "<i8"))
    if mask & _SERVER:
        fields.append(("server", "<i8"))
    return np.dtype(fields)


def _keys() -> list[int]:
    """Every mask and type of a fixed size: no picoseconds, no arrays; numbers only, or no value at all."""
    return [m << 8 | k for m in range(16) for k in (_NUMBERS if m & _VALUE else (0,))]


_SIZES: Mapping[int, int] = {key: _layout(key).itemsize for key in _keys()}
