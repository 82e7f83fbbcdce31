"""From what a source calls and counts in to the line's tags: names, units, and what is no number at all."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from collector.reading.channel import Channel, channel_scaling
from collector.reading.scaling import Scaling, plain_scaling
from historian.catalogue import canonical_tag
from historian.quality import BAD, SENSOR_FAILURE
from historian.tags import Tag
from historian.units import ucum

TYPE_MISMATCH = 0x8074_0000
"""OPC UA BadTypeMismatch: what came is no number."""

_SEVERITY = 0xC000_0000
_NAN = math.nan


@dataclass(frozen=True, slots=True)
class TagMapping:
    """Where one tag comes from.

    Attributes:
        path: canonical tag path.
        address: what the source calls it: a node, a metric, a place in a message.
        unit: UCUM code of what the source delivers.
        deadband: smallest change that is kept, in the tag's canonical unit; 0 keeps every sample.
        channel: how the sensor is wired, when the source delivers its signal; else None.
        unit_assumed: nobody said the unit, the tag's own is taken for it; what the source says counts more.
        deadband_percent: the same as ``deadband`` as a share of the tag's range; 0 when that is not asked.
    """

    path: str
    address: str
    unit: str
    deadband: float = 0.0
    channel: Channel | None = None
    unit_assumed: bool = False
    deadband_percent: float = 0.0

    @property
    def measures(self) -> str:
        """UCUM code of what the sensor measures, whatever signal says it."""
        return self.channel.unit if self.channel is not None else self.unit


@dataclass(frozen=True, slots=True)
class SourceMapping:
    """One source and the tags that it delivers.

    Attributes:
        name: short name, as it stands in messages.
        endpoint: its address.
        simulated: whether a simulated line stands behind it.
        tags: what it delivers.
        clock: ``wall`` when its time stamps are UTC, ``own`` when it counts time of its own.
    """

    name: str
    endpoint: str
    simulated: bool
    tags: tuple[TagMapping, ...]
    clock: Literal["wall", "own"] = "wall"


def tags_of(sources: Iterable[SourceMapping]) -> list[Tag]:
    """The tags that the sources deliver, to be registered in a store."""
    return [
        canonical_tag(t.path, source=s.name, simulated=s.simulated, unit=ucum(t.measures))
        for s in sources
        for t in s.tags
    ]


def scaling_of(mapping: TagMapping, tag: Tag) -> Scaling:
    """How a source's numbers become a tag's.

    Raises:
        UnknownUnit, UnitMismatch: the source's unit cannot become the tag's.
    """
    if mapping.channel is not None:
        return channel_scaling(mapping.channel, mapping.unit, tag)
    return plain_scaling(mapping.unit, tag)


class Reading:
    """Makes what a source says of one tag into the tag's number and quality; ``Readings`` does many at once.

    Args:
        mapping: where the tag comes from.
        tag: as the store knows it.

    Raises:
        UnknownUnit, UnitMismatch: the source's unit cannot become the tag's.

    Attributes:
        scaling: the line and the limits that it goes by.
        mended: how often something that is no number came with a good or uncertain quality.
    """

    __slots__ = ("mapping", "mended", "scaling", "tag")

    def __init__(self, mapping: TagMapping, tag: Tag) -> None:
        self.mapping, self.tag = mapping, tag
        self.scaling = scaling_of(mapping, tag)
        self.mended = 0

    def take(self, raw: object, quality: int) -> tuple[float, int]:
        """Value in the tag's unit, and quality.

        What is no finite number is NaN; its quality stays when it is bad, else it becomes BadSensorFailure (a
        text or an array: BadTypeMismatch). A bad quality makes the value NaN. A good value outside of what
        the sensor can show becomes UncertainEngineeringUnitsExceeded. A channel has limits of its own: a
        failed sensor is NaN and BadSensorFailure, a saturated one UncertainSensorNotAccurate.

        Example:
            >>> from historian.catalogue import canonical_tag
            >>> m = TagMapping("filter.inlet.pressure.pv", "ns=2;s=P1", "MPa")
            >>> r = Reading(m, canonical_tag(m.path))
            >>> r.take(12.5, 0), [hex(r.take(x, 0)[1]) for x in (float("nan"), "broken", 90)]
            ((125.0, 0), ['0x808c0000', '0x80740000', '0x40940000'])
        """
        if quality & BAD:
            return _NAN, quality
        # Booleans and enumerations are integers here.
        if not isinstance(raw, float | int):
            self.mended += 1
            return _NAN, SENSOR_FAILURE if raw is None else TYPE_MISMATCH
        line = self.scaling
        try:
            value = raw * line.scale + line.offset
        except OverflowError:
            value = _NAN
        if line.low <= value <= line.high:
            return float(value), quality
        if line.fails_low < value < line.fails_high:
            return float(value), quality if quality & _SEVERITY else line.doubt
        self.mended += not math.isfinite(value)
        return _NAN, SENSOR_FAILURE
