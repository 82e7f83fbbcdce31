"""From the bytes of a message to columns."""

from __future__ import annotations

import zlib
from collections import OrderedDict
from dataclasses import replace
from typing import Any, Final

import numpy as np
from google.protobuf.message import DecodeError

from collector.sparkplug.metrics import LATEST_MS, NO_ALIAS, NO_TIME, Heard, Metrics, qualities_of
from collector.sparkplug.pattern import Pattern, learn
from collector.sparkplug.sparkplug_b_pb2 import Metric, Payload, PropertySet
from collector.sparkplug.types import DataType, Kind
from historian.errors import WrongInput

COMPRESSED: Final = "SPBV1.0_COMPRESSED"
"""What the field ``uuid`` says when ``body`` is a whole message, compressed.
Source: the reference implementations of the specification, which itself leaves both fields open."""

LARGEST_BYTE: Final = 4 * 1_048_576
"""A larger message is not read, compressed or not."""

MOST_METRICS: Final = 50_000

_PATTERNS: Final = 64  # kept at most
_LEARN_EVERY: Final = 16  # messages read the general way
_WORTH: Final = 8  # metrics from which on a pattern is worth its learning
_KINDS: Final[dict[str | None, int]] = {
    None: 0, **{f"{kind.name.lower()}_value": int(kind) for kind in Kind if kind is not Kind.NONE}
}  # fmt: skip
_FLOATS: Final = {"float_value", "double_value"}
_WHOLES: Final = {"int_value", "long_value", "boolean_value"}
_TYPES: Final = frozenset(map(int, DataType))


class Malformed(WrongInput):
    """A message that is none, or that is too large."""


class Decoder:
    """Reads messages, and remembers how they lie.

    Args:
        largest_byte: a larger message is not read, compressed or not.
    """

    def __init__(self, largest_byte: int = LARGEST_BYTE) -> None:
        self._largest_byte = largest_byte
        self._patterns: OrderedDict[int, list[Pattern]] = OrderedDict()
        self._generally = 0

    def decode(self, body: bytes) -> Heard:
        """What a message says.

        Raises:
            Malformed: it is none, or too large.
        """
        for pattern in self._patterns.get(len(body), ()):
            heard = pattern.read(body)
            if heard is not None:
                return heard
        if len(body) > self._largest_byte:
            raise Malformed(f"{len(body)} bytes, more than {self._largest_byte}")
        payload = _parsed(body)
        if payload.uuid == COMPRESSED:
            return self._inflated(payload)
        heard = _read(payload)
        self._generally += 1
        if self._generally % _LEARN_EVERY == 1 and len(heard.metrics) >= _WORTH:
            self._learn(body, heard)
        return heard

    def _learn(self, body: bytes, heard: Heard) -> None:
        pattern = learn(body, heard)
        if pattern is None:
            return
        alike = self._patterns.setdefault(len(body), [])
        alike.insert(0, pattern)
        del alike[4:]
        self._patterns.move_to_end(len(body))
        while len(self._patterns) > _PATTERNS:
            self._patterns.popitem(last=False)

    def _inflated(self, payload: Payload) -> Heard:
        # Either form: zlib's and gzip's begin differently, and the library tells them apart.
        inflating = zlib.decompressobj(wbits=zlib.MAX_WBITS | 32)
        try:
            inner = inflating.decompress(payload.body, self._largest_byte + 1)
        except zlib.error as error:
            raise Malformed(f"what is compressed in it cannot be read ({error})") from error
        if len(inner) > self._largest_byte:
            raise Malformed(f"more than {self._largest_byte} bytes are compressed in it")
        if not inflating.eof:
            raise Malformed("what is compressed in it is cut off")
        unpacked = _parsed(inner)
        if unpacked.uuid == COMPRESSED:
            raise Malformed("it is compressed more than once")
        heard = _read(unpacked)
        time_ms = _sent_ms(payload) if heard.time_ms == NO_TIME else heard.time_ms
        return Heard(time_ms, _seq(payload) if heard.seq is None else heard.seq, heard.metrics)


def _parsed(body: bytes) -> Payload:
    try:
        payload: Payload = Payload.FromString(body)
        if payload.uuid is None:  # never so, but a damaged text shows only when it is read
            raise Malformed("it has no text where one belongs")
    except (DecodeError, UnicodeDecodeError) as error:
        raise Malformed(f"it is no Sparkplug B message ({error})") from error
    return payload


def _read(payload: Payload) -> Heard:
    """Any message, field by field."""
    every = list(payload.metrics)
    n = len(every)
    if n > MOST_METRICS:
        raise Malformed(f"{n} metrics, more than {MOST_METRICS}")
    fields = [m.WhichOneof("value") for m in every]
    types = [m.datatype for m in every]
    metrics = Metrics(
        alias=np.array([m.alias for m in every], np.uint64),
        time_ms=np.array([m.timestamp for m in every], np.uint64).view(np.int64),
        kind=np.array([_KINDS[f] for f in fields], np.uint8),
        whole=np.zeros(n, np.uint64),
        number=np.full(n, np.nan),
        datatype=np.array([t if t in _TYPES else 0 for t in types], np.uint8),
        null=np.array([m.is_null for m in every], np.bool_),
        historical=np.array([m.is_historical for m in every], np.bool_),
        quality=np.zeros(n, np.uint32),
    )
    _read_values(metrics, every, fields)
    for place in np.flatnonzero(metrics.alias == 0).tolist():
        if not every[place].HasField("alias"):
            metrics.alias[place] = NO_ALIAS
    times = metrics.time_ms
    times[(times < 0) | (times > LATEST_MS)] = NO_TIME
    for place in np.flatnonzero(times == 0).tolist():
        if not every[place].HasField("timestamp"):
            times[place] = NO_TIME
    try:
        _read_words(metrics, every, fields)
    except UnicodeDecodeError as error:
        raise Malformed("a text in it is no UTF-8") from error
    if _is_plain(metrics):
        metrics = replace(metrics, plain=True)
    return Heard(_sent_ms(payload), _seq(payload), metrics)


def _is_plain(metrics: Metrics) -> bool:
    floats = np.isin(metrics.kind, (int(Kind.FLOAT), int(Kind.DOUBLE)))
    said = metrics.null | metrics.historical | (metrics.quality != 0) | (metrics.time_ms == NO_TIME)
    return bool(floats.all()) and not said.any() and not metrics.odd


def _read_values(metrics: Metrics, every: list[Metric], fields: list[str | None]) -> None:
    for field in _FLOATS.intersection(filter(None, fields)):
        metrics.number[:] = _taken(metrics.number.tolist(), every, fields, field)
    for field in _WHOLES.intersection(filter(None, fields)):
        metrics.whole[:] = _taken(metrics.whole.tolist(), every, fields, field)


def _taken(column: list[Any], every: list[Metric], fields: list[str | None], field: str) -> list[Any]:
    """The column with the values of those metrics that have this field."""
    return [getattr(m, field) if f == field else c for m, f, c in zip(every, fields, column, strict=True)]


def _read_words(metrics: Metrics, every: list[Metric], fields: list[str | None]) -> None:
    metrics.name.update((place, name) for place, m in enumerate(every) if (name := m.name))
    metrics.text.update((p, every[p].string_value) for p, f in enumerate(fields) if f == "string_value")
    for place, metric in enumerate(every):
        if metric.HasField("properties"):
            _read_properties(metrics, place, metric.properties)


def _read_properties(metrics: Metrics, place: int, properties: PropertySet) -> None:
    said: dict[str, int] = {}
    # The standard wants as many keys as values; what has no partner says nothing.
    for key, value in zip(properties.keys, properties.values, strict=False):
        field = value.WhichOneof("value")
        if field in ("int_value", "long_value"):
            said[key] = getattr(value, field)
        elif key == "engUnit" and field == "string_value":
            metrics.unit[place] = value.string_value
    quality, understood = qualities_of(said)
    metrics.quality[place] = quality & 0xFFFF_FFFF
    if not understood:
        metrics.odd.add(place)


def _seq(payload: Payload) -> int | None:
    return payload.seq if payload.HasField("seq") else None


def _sent_ms(payload: Payload) -> int:
    said = payload.timestamp if payload.HasField("timestamp") else NO_TIME
    return said if said <= LATEST_MS else NO_TIME
