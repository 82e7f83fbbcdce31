"""Reads Sparkplug B payloads from their bytes, without any generated code: a second opinion on ours.

Source: Protocol Buffers encoding (wire types 0, 1, 2, 5); field numbers of the Sparkplug specification 3.0, 6.4.1.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field

# Sparkplug 3.0, 6.4.9.
INT32, INT64, UINT32, DOUBLE, BOOLEAN, STRING = 3, 4, 7, 10, 11, 12


@dataclass
class Metric:
    """One metric as it travelled; what did not travel is None."""

    name: str | None = None
    alias: int | None = None
    timestamp: int | None = None
    datatype: int | None = None
    historical: bool | None = None
    null: bool | None = None
    properties: dict[str, tuple[int, object]] = field(default_factory=dict)
    value: object = None
    kind: str | None = None


@dataclass
class Payload:
    """One payload as it travelled."""

    timestamp: int | None = None
    seq: int | None = None
    metrics: list[Metric] = field(default_factory=list)


def payload(data: bytes) -> Payload:
    """The payload in these bytes; an unknown field is an error."""
    read = Payload()
    for number, value in _fields(data):
        match number:
            case 1:
                read.timestamp = _int(value)
            case 2:
                read.metrics.append(_metric(_bytes(value)))
            case 3:
                read.seq = _int(value)
            case _:
                raise AssertionError(f"field {number} of a payload")
    return read


def rebirth_command(name: str = "Node Control/Rebirth") -> bytes:
    """A command that sets that control to true, written by hand."""
    metric = bytes([0x0A, len(name)]) + name.encode() + bytes([0x20, BOOLEAN, 0x70, 1])
    return bytes([0x12, len(metric)]) + metric


def _metric(data: bytes) -> Metric:
    metric = Metric()
    for number, value in _fields(data):
        match number:
            case 1:
                metric.name = _bytes(value).decode()
            case 2:
                metric.alias = _int(value)
            case 3:
                metric.timestamp = _int(value)
            case 4:
                metric.datatype = _int(value)
            case 5:
                metric.historical = bool(value)
            case 7:
                metric.null = bool(value)
            case 9:
                metric.properties = _properties(_bytes(value))
            case 10:
                metric.value, metric.kind = struct.unpack("<i", struct.pack("<I", _int(value)))[0], "int"
            case 11:
                metric.value, metric.kind = value, "long"
            case 13:
                metric.value, metric.kind = struct.unpack("<d", _bytes(value))[0], "double"
            case 14:
                metric.value, metric.kind = bool(value), "boolean"
            case 15:
                metric.value, metric.kind = _bytes(value).decode(), "string"
            case _:
                raise AssertionError(f"field {number} of a metric")
    return metric


def _properties(data: bytes) -> dict[str, tuple[int, object]]:
    keys, values = [], []
    for number, value in _fields(data):
        if number == 1:
            keys.append(_bytes(value).decode())
        else:
            assert number == 2
            parts = dict(_fields(_bytes(value)))
            text = parts.get(8)
            values.append((_int(parts[1]), _bytes(text).decode() if text is not None else parts[3]))
    return dict(zip(keys, values, strict=True))


def _fields(data: bytes) -> Iterator[tuple[int, int | bytes]]:
    at = 0
    while at < len(data):
        key, at = _varint(data, at)
        match key & 7:
            case 0:
                value, at = _varint(data, at)
                yield key >> 3, value
            case 1:
                yield key >> 3, data[at : at + 8]
                at += 8
            case 2:
                size, at = _varint(data, at)
                yield key >> 3, data[at : at + size]
                at += size
            case wire:
                raise AssertionError(f"wire type {wire}")
    assert at == len(data)


def _varint(data: bytes, at: int) -> tuple[int, int]:
    number = shift = 0
    while True:
        number |= (data[at] & 0x7F) << shift
        if not data[at] & 0x80:
            return number, at + 1
        at, shift = at + 1, shift + 7


def _int(value: int | bytes) -> int:
    assert isinstance(value, int)
    return value


def _bytes(value: int | bytes) -> bytes:
    assert isinstance(value, bytes)
    return value
