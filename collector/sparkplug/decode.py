"""From the bytes of a message to columns."""

from __future__ import annotations

import zlib
from typing import Final

import numpy as np
from google.protobuf.message import DecodeError

from collector.sparkplug.layout import Layout, Octets, learn, split, varints
from collector.sparkplug.metrics import NO_TIME, Heard, Metrics, qualities_of
from collector.sparkplug.sparkplug_b_pb2 import Metric, Payload, PropertySet
from collector.sparkplug.types import DataType, Kind
from historian.errors import WrongInput

COMPRESSED: Final = "SPBV1.0_COMPRESSED"
"""What the field ``uuid`` says when ``body`` is a whole message, compressed.
Source: the reference implementations of the specification; the specification itself leaves both fields open."""

LARGEST_BYTE: Final = 4 * 1_048_576
"""A larger message is not read, compressed or not."""

MOST_METRICS: Final = 50_000

_LAYOUTS: Final = 256  # kept at most
_LATEST_MS: Final = (2**63 - 1) // 1_000_000
_KINDS: Final = {
    None: Kind.NONE, "int_value": Kind.INT, "long_value": Kind.LONG, "float_value": Kind.FLOAT,
    "double_value": Kind.DOUBLE, "boolean_value": Kind.BOOLEAN, "string_value": Kind.STRING,
    "bytes_value": Kind.BYTES, "dataset_value": Kind.DATASET, "template_value": Kind.TEMPLATE,
    "extension_value": Kind.EXTENSION,
}  # fmt: skip


class Malformed(WrongInput):
    """A message that is none, or that is too large."""


class Decoder:
    """Reads messages, and remembers how their metrics lie."""

    def __init__(self) -> None:
        self._layouts: dict[int, list[tuple[Layout, Metrics]]] = {}
        self._learnt = 0

    def decode(self, body: bytes, *, largest_byte: int = LARGEST_BYTE) -> Heard:
        """What a message says.

        Raises:
            Malformed: it is none, or too large.
        """
        if len(body) > largest_byte:
            raise Malformed(f"{len(body)} bytes, more than {largest_byte}")
        found = split(body)
        if found is None:
            return self._generally(body, largest_byte)
        said, starts, sizes = found
        if len(starts) > MOST_METRICS:
            raise Malformed(f"{len(starts)} metrics, more than {MOST_METRICS}")
        metrics = Metrics.blank(len(starts))
        left = self._by_layout(body, starts, sizes, metrics)
        if left:
            every = _parsed(body).metrics
            for place in left:
                _read(metrics, place, every[place])
        return Heard(_time_ms(said.get(1, NO_TIME)), said.get(3), metrics)

    def _generally(self, body: bytes, largest_byte: int) -> Heard:
        """Any message, the general way."""
        payload = _parsed(body)
        if payload.uuid == COMPRESSED:
            inner = self._inner(payload, largest_byte)
            seq = payload.seq if inner.seq is None and payload.HasField("seq") else inner.seq
            time_ms = _sent_ms(payload) if inner.time_ms == NO_TIME else inner.time_ms
            return Heard(time_ms, seq, inner.metrics)
        if len(payload.metrics) > MOST_METRICS:
            raise Malformed(f"{len(payload.metrics)} metrics, more than {MOST_METRICS}")
        metrics = Metrics.blank(len(payload.metrics))
        for place, metric in enumerate(payload.metrics):
            _read(metrics, place, metric)
        return Heard(_sent_ms(payload), payload.seq if payload.HasField("seq") else None, metrics)

    def _inner(self, payload: Payload, largest_byte: int) -> Heard:
        # Either form: zlib's and gzip's begin differently, and the library tells them apart.
        inflating = zlib.decompressobj(wbits=zlib.MAX_WBITS | 32)
        try:
            inner = inflating.decompress(payload.body, largest_byte + 1)
        except zlib.error as error:
            raise Malformed(f"what is compressed in it cannot be read ({error})") from error
        if len(inner) > largest_byte:
            raise Malformed(f"more than {largest_byte} bytes are compressed in it")
        if not inflating.eof:
            raise Malformed("what is compressed in it is cut off")
        if _parsed(inner).uuid == COMPRESSED:
            raise Malformed("it is compressed more than once")
        return self.decode(inner, largest_byte=largest_byte)

    def _by_layout(
        self, body: bytes, starts: list[int], sizes: list[int], metrics: Metrics
    ) -> list[int]:
        """Read what lies in a known way; gives the places of the others."""
        octets, first = np.frombuffer(body, np.uint8), np.array(starts, np.intp)
        size_of = np.array(sizes, np.intp)
        left: list[int] = []
        for size in set(sizes):
            which = np.flatnonzero(size_of == size)
            rows = _rows(octets, first[which], size)
            for _ in range(2):
                for layout, like in self._layouts.get(size, ()):
                    fits = layout.fits(rows)
                    if fits.any():
                        _fill(metrics, which[fits], rows[fits], layout, like)
                        which, rows = which[~fits], rows[~fits]
                        if not len(which):
                            break
                if not len(which) or not self._learn(rows[0].tobytes()):
                    break
            left.extend(which.tolist())
        return left

    def _learn(self, metric: bytes) -> bool:
        """Remember how a metric lies; whether it is one that can be read so."""
        layout = learn(metric)
        if layout is None:
            return False
        like = Metrics.blank(1)
        try:
            _read(like, 0, Metric.FromString(metric))
        except (DecodeError, Malformed):
            return False
        if self._learnt >= _LAYOUTS:
            self._layouts.clear()
            self._learnt = 0
        self._learnt += 1
        self._layouts.setdefault(len(metric), []).append((layout, like))
        return True


def _rows(octets: Octets, first: np.ndarray[tuple[int], np.dtype[np.intp]], size: int) -> Octets:
    """The bytes of metrics of one size, shape (n, size)."""
    n = len(first)
    # Key and length lie between two metrics: two bytes, or three from 128 bytes on.
    step = size + (2 if size < 128 else 3)
    if int(first[-1] - first[0]) == (n - 1) * step:
        start = int(first[0])
        return np.lib.stride_tricks.as_strided(octets[start:], (n, size), (step, 1), writeable=False)
    return np.asarray(octets[first[:, None] + np.arange(size)])


def _fill(
    metrics: Metrics,
    which: np.ndarray[tuple[int], np.dtype[np.intp]],
    rows: Octets,
    layout: Layout,
    like: Metrics,
) -> None:
    """Read metrics that lie like a known one: content from the rows, the rest is the same."""
    metrics.alias[which] = varints(rows, layout.alias)
    if layout.time is not None:
        time_ms = varints(rows, layout.time).view(np.int64)
        metrics.time_ms[which] = np.where(time_ms <= _LATEST_MS, time_ms, NO_TIME)
    metrics.kind[which] = layout.kind
    if layout.value is not None:
        start, stop = layout.value
        if layout.kind is Kind.DOUBLE:
            metrics.number[which] = np.ascontiguousarray(rows[:, start:stop]).view("<f8")[:, 0]
        elif layout.kind is Kind.FLOAT:
            metrics.number[which] = np.ascontiguousarray(rows[:, start:stop]).view("<f4")[:, 0]
        else:
            whole = varints(rows, layout.value)
            if layout.kind is Kind.INT:
                whole &= np.uint64(0xFFFF_FFFF)
            metrics.whole[which] = whole != 0 if layout.kind is Kind.BOOLEAN else whole
    for column, same in (
        (metrics.datatype, like.datatype),
        (metrics.null, like.null),
        (metrics.historical, like.historical),
        (metrics.quality, like.quality),
    ):
        if same[0]:
            column[which] = same[0]
    if like.unit:
        metrics.unit.update(dict.fromkeys(which.tolist(), like.unit[0]))
    if like.odd:
        metrics.odd.update(which.tolist())


def _parsed(body: bytes) -> Payload:
    try:
        return Payload.FromString(body)
    except DecodeError as error:
        raise Malformed(f"it is no Sparkplug B message ({error})") from error


def _read(metrics: Metrics, place: int, metric: Metric) -> None:
    """One metric of any kind."""
    try:
        field = metric.WhichOneof("value")
        kind = _KINDS[field]
        if metric.HasField("name"):
            metrics.name[place] = metric.name
        if kind is Kind.STRING:
            metrics.text[place] = metric.string_value
    except UnicodeDecodeError as error:
        raise Malformed("a text in it is no UTF-8") from error
    metrics.alias[place] = metric.alias
    if metric.HasField("timestamp"):
        metrics.time_ms[place] = _time_ms(metric.timestamp)
    metrics.kind[place] = kind
    if kind in (Kind.INT, Kind.LONG, Kind.BOOLEAN):
        metrics.whole[place] = int(getattr(metric, str(field)))
    elif kind in (Kind.FLOAT, Kind.DOUBLE):
        metrics.number[place] = getattr(metric, str(field))
    metrics.datatype[place] = metric.datatype if metric.datatype in _TYPES else 0
    metrics.null[place], metrics.historical[place] = metric.is_null, metric.is_historical
    if metric.HasField("properties"):
        _read_properties(metrics, place, metric.properties)


def _read_properties(metrics: Metrics, place: int, properties: PropertySet) -> None:
    said: dict[str, int] = {}
    try:
        # The standard wants as many keys as values; what has no partner says nothing.
        for key, value in zip(properties.keys, properties.values, strict=False):
            field = value.WhichOneof("value")
            if field in ("int_value", "long_value"):
                said[key] = getattr(value, field)
            elif key == "engUnit" and field == "string_value":
                metrics.unit[place] = value.string_value
    except UnicodeDecodeError as error:
        raise Malformed("a text in it is no UTF-8") from error
    quality, understood = qualities_of(said)
    metrics.quality[place] = quality & 0xFFFF_FFFF
    if not understood:
        metrics.odd.add(place)


_TYPES: Final = frozenset(DataType)


def _sent_ms(payload: Payload) -> int:
    return _time_ms(payload.timestamp) if payload.HasField("timestamp") else NO_TIME


def _time_ms(said: int) -> int:
    """A time stamp as it is; one that is behind the end of our time is none."""
    return said if said <= _LATEST_MS else NO_TIME
