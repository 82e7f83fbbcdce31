"""A tag as Sparkplug metrics: name, alias, datatype, unit, quality.

Source: Sparkplug specification 3.0, clauses 6.4.5 to 6.4.9 (metric, property sets, data types).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from historian.quality import BAD, GOOD, NO_DATA, UNCERTAIN
from historian.tags import Tag, TagKind
from simulator.published import Sample
from simulator.sparkplug.sparkplug_b_pb2 import Metric as Entry
from simulator.sparkplug.sparkplug_b_pb2 import Payload
from simulator.sparkplug.types import DataType

# Sparkplug 3.0, 6.4.8: the only values of the property Quality.
QUALITY_BAD: Final = 0
QUALITY_GOOD: Final = 192
QUALITY_STALE: Final = 500

# First word of a path → the machine that is a device; what is left belongs to the node.
_DEVICES: Final[Mapping[str, str]] = {
    "doser": "doser",
    "extruder": "extruder",
    "filter": "filter",
    "die": "pelletizer",
    "pelletizer": "pelletizer",
    "water": "water",
    "dryer": "dryer",
}
_TYPES: Final[Mapping[TagKind, DataType]] = {
    TagKind.ANALOG: DataType.DOUBLE,
    TagKind.STEP: DataType.DOUBLE,
    TagKind.CODE: DataType.INT32,
    TagKind.BOOLEAN: DataType.BOOLEAN,
}


@dataclass(frozen=True, slots=True)
class Metric:
    """One metric of the node or of a device.

    Attributes:
        column: place of its tag in the feed.
        device: whose it is; None: the node's own.
        name: its tag's path with / for the dots; the words of an enumeration stand beside it under /text.
        alias: number that stands for the name after the birth; one of its own within the node.
        type: Sparkplug data type.
        unit: of the value, UCUM; empty for texts and switches.
        words: of an enumeration, for the metric that gives its text; None: a number.
    """

    column: int
    device: str | None
    name: str
    alias: int
    type: DataType
    unit: str = ""
    words: Mapping[int, str] | None = None


def metrics_of(tags: Sequence[Tag]) -> list[Metric]:
    """The metrics of the tags, in their order."""
    metrics: list[Metric] = []
    for column, tag in enumerate(tags):
        name, device = tag.path.replace(".", "/"), _DEVICES.get(tag.path.split(".")[0])
        number = tag.kind in (TagKind.ANALOG, TagKind.STEP)
        metrics.append(
            Metric(column, device, name, len(metrics) + 1, _TYPES[tag.kind], tag.unit if number else "")
        )
        if tag.kind is TagKind.CODE and tag.codes:
            metrics.append(
                Metric(column, device, f"{name}/text", len(metrics) + 1, DataType.STRING, words=tag.codes)
            )
    return metrics


def put_birth(payload: Payload, metric: Metric, sample: Sample | None, now_ms: int) -> None:
    """Add the metric's definition with its newest sample; without one it is null."""
    entry = payload.metrics.add(name=metric.name, alias=metric.alias, datatype=metric.type)
    if metric.unit:
        entry.properties.keys.append("engUnit")
        entry.properties.values.add(type=DataType.STRING, string_value=metric.unit)
    if sample is None:
        entry.timestamp, entry.is_null = now_ms, True
        _put_quality(entry, NO_DATA)
    else:
        _put_value(entry, metric, sample)


def put_data(payload: Payload, metric: Metric, sample: Sample, *, historical: bool) -> None:
    """Add a sample under the metric's alias."""
    entry = payload.metrics.add(alias=metric.alias)
    if historical:
        entry.is_historical = True
    _put_value(entry, metric, sample)


def by_column(metrics: Iterable[Metric]) -> dict[int, list[Metric]]:
    """Column of a tag → its metrics."""
    found: dict[int, list[Metric]] = {}
    for metric in metrics:
        found.setdefault(metric.column, []).append(metric)
    return found


def _put_value(entry: Entry, metric: Metric, sample: Sample) -> None:
    entry.timestamp = sample.time_ns // 1_000_000
    if sample.quality != GOOD:
        _put_quality(entry, sample.quality)
    if not math.isfinite(sample.value):
        entry.is_null = True
    elif metric.words is not None:
        code = int(sample.value)
        entry.string_value = metric.words.get(code, str(code))
    elif metric.type == DataType.BOOLEAN:
        entry.boolean_value = bool(sample.value)
    elif metric.type == DataType.INT32:
        # 6.4.9: a negative number as its two's complement.
        entry.int_value = int(sample.value) & 0xFFFF_FFFF
    else:
        entry.double_value = sample.value


def _put_quality(entry: Entry, status: int) -> None:
    """The standard's three-valued quality, and beside it the whole OPC UA StatusCode, which tells more."""
    quality = QUALITY_GOOD
    if status & BAD:
        quality = QUALITY_BAD
    elif status & UNCERTAIN:
        quality = QUALITY_STALE
    entry.properties.keys.extend(["Quality", "StatusCode"])
    entry.properties.values.add(type=DataType.INT32, int_value=quality)
    entry.properties.values.add(type=DataType.UINT32, int_value=status)
