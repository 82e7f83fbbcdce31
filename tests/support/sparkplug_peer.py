"""An edge node of the tests' own: writes Sparkplug B payloads by hand, without any generated code.

Source: Protocol Buffers encoding; field numbers of the Sparkplug specification 3.0, 6.4.1.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field


def varint(number: int) -> bytes:
    """A variable length integer."""
    out = bytearray()
    while number >= 0x80:
        out.append(number & 0x7F | 0x80)
        number >>= 7
    return bytes([*out, number])


def whole(number: int, value: int) -> bytes:
    """A field that holds a whole number."""
    return varint(number << 3) + varint(value)


def octets(number: int, value: bytes | str) -> bytes:
    """A field that holds bytes, a text or a message."""
    value = value.encode() if isinstance(value, str) else value
    return varint(number << 3 | 2) + varint(len(value)) + value


@dataclass
class M:
    """One metric; ``None`` is left out. ``value`` is a field number and what stands in it."""

    name: str | None = None
    alias: int | None = None
    ms: int | None = None
    type: int | None = None
    value: tuple[int, float | int | str | bytes] | None = None
    historical: bool = False
    null: bool = False
    properties: dict[str, int | str] = field(default_factory=dict)

    def body(self) -> bytes:
        parts = [octets(1, self.name)] if self.name is not None else []
        for number, said in ((2, self.alias), (3, self.ms), (4, self.type)):
            parts += [whole(number, said)] if said is not None else []
        parts += [whole(5, 1)] if self.historical else []
        parts += [whole(7, 1)] if self.null else []
        if self.properties:
            keys = b"".join(octets(1, key) for key in self.properties)
            values = b"".join(
                octets(2, whole(1, 12) + octets(8, v) if isinstance(v, str) else whole(1, 3) + whole(3, v))
                for v in self.properties.values()
            )
            parts.append(octets(9, keys + values))
        if self.value is not None:
            parts.append(_value(*self.value))
        return b"".join(parts)


def _value(number: int, value: float | int | str | bytes) -> bytes:
    if number == 12:
        return varint(number << 3 | 5) + struct.pack("<f", value)
    if number == 13:
        return varint(number << 3 | 1) + struct.pack("<d", value)
    if isinstance(value, str | bytes):
        return octets(number, value)
    return whole(number, int(value))


INT, LONG, FLOAT, DOUBLE, BOOLEAN, STRING, BYTES, DATASET, TEMPLATE = range(10, 19)
"""Numbers of the fields that hold a value."""


def payload(
    *metrics: M, ms: int | None = None, seq: int | None = None, uuid: str | None = None, body: bytes = b""
) -> bytes:
    """A whole message."""
    return b"".join(
        [
            whole(1, ms) if ms is not None else b"",
            *(octets(2, m.body()) for m in metrics),
            whole(3, seq) if seq is not None else b"",
            octets(4, uuid) if uuid is not None else b"",
            octets(5, body) if body else b"",
        ]
    )


def nbirth(*metrics: M, ms: int, seq: int = 0, bd_seq: int | None = 0) -> bytes:
    """A birth with what every birth has."""
    own = [M("bdSeq", ms=ms, type=4, value=(LONG, bd_seq))] if bd_seq is not None else []
    return payload(
        *own, M("Node Control/Rebirth", ms=ms, type=11, value=(BOOLEAN, 0)), *metrics, ms=ms, seq=seq
    )


def ndeath(bd_seq: int | None, ms: int | None = None) -> bytes:
    """A death; without a number of its own."""
    return payload(*([M("bdSeq", type=4, value=(LONG, bd_seq))] if bd_seq is not None else []), ms=ms)
