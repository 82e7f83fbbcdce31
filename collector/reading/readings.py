"""Many samples of a source at once, of one tag or of many, to the tags' numbers and qualities."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import compress

import numpy as np
from numpy.typing import NDArray

from collector.reading.mapping import TYPE_MISMATCH, Reading, TagMapping
from historian.quality import BAD, SENSOR_FAILURE
from historian.tags import Tag

Values = NDArray[np.float64]
Qualities = NDArray[np.uint32]
Places = NDArray[np.intp]
"""Which tag each sample is of, as its place in the source's list of tags."""

_SEVERITY = np.uint32(0xC000_0000)
_BAD = np.uint32(BAD)
_NUMBERS = {float, int, bool}


class Readings:
    """Does what ``Reading.take`` does, sample by sample the same, for whole columns.

    Args:
        readings: of the source's tags; a tag's place in this list is what ``at`` means below.

    Attributes:
        tag_id: the store's number of each tag, by place; ``tag_id[at]`` is a column for the inbox.
        mended: by place, how often something that is no number came with a good or uncertain quality.
    """

    def __init__(self, readings: Sequence[Reading]) -> None:
        self.tag_id = np.array([r.tag.id for r in readings], np.int32)
        self.mended = np.zeros(len(readings), np.int64)
        lines = [r.scaling for r in readings]
        self._scale = np.array([s.scale for s in lines], np.float64)
        self._offset = np.array([s.offset for s in lines], np.float64)
        self._low = np.array([s.low for s in lines], np.float64)
        self._high = np.array([s.high for s in lines], np.float64)
        self._fails_low = np.array([s.fails_low for s in lines], np.float64)
        self._fails_high = np.array([s.fails_high for s in lines], np.float64)
        self._doubt = np.array([s.doubt for s in lines], np.uint32)

    @classmethod
    def of(cls, mappings: Sequence[TagMapping], tags: Mapping[str, Tag]) -> Readings:
        """For the tags of a source, in its order.

        Raises:
            UnknownUnit, UnitMismatch: a tag's unit at the source cannot become the tag's.
        """
        return cls([Reading(m, tags[m.path]) for m in mappings])

    def take_columns(self, at: Places | int, raw: Values, quality: Qualities) -> tuple[Values, Qualities]:
        """Values in the tags' units, and qualities, shape (n,) each.

        Args:
            at: places of the tags, shape (n,), or the one place that all samples are of.
            raw: what the source says, NaN where it says nothing, shape (n,); or of many scans of the same
                tags, shape (scans, n), which gives what comes out that shape.
            quality: what the source says of it, shaped as ``raw``; where nothing changes, it is given back
                as it is.

        Example:
            >>> from historian.catalogue import canonical_tag
            >>> m = TagMapping("filter.inlet.pressure.pv", "ns=2;s=P1", "MPa")
            >>> pressure = Readings.of([m], {m.path: canonical_tag(m.path)})
            >>> value, quality = pressure.take_columns(0, np.array([12.5, 90.0]), np.zeros(2, np.uint32))
            >>> value.tolist(), [hex(q) for q in quality]
            ([125.0, 900.0], ['0x0', '0x40940000'])
        """
        # A number too large for the tag's unit becomes infinite, and that is judged below.
        with np.errstate(over="ignore"):
            value = raw * self._scale[at] + self._offset[at]
        inside = (value >= self._low[at]) & (value <= self._high[at])
        bad = (quality & _BAD) != 0
        if inside.all() and not bad.any():
            return value, quality
        works = (value > self._fails_low[at]) & (value < self._fails_high[at])
        broken = ~(bad | inside | works)
        doubtful = works & ~inside & ((quality & _SEVERITY) == 0)
        self._count(at, broken & ~np.isfinite(value))
        quality = np.where(broken, np.uint32(SENSOR_FAILURE), np.where(doubtful, self._doubt[at], quality))
        return np.where(bad | broken, np.nan, value), quality

    def take_mixed(
        self, at: Places | int, raw: Sequence[object], quality: Qualities
    ) -> tuple[Values, Qualities]:
        """As ``take_columns`` for what a message held, where a text may stand for a number."""
        if not set(map(type, raw)) <= _NUMBERS:
            is_number = np.fromiter((isinstance(r, float | int) for r in raw), np.bool_, len(raw))
            is_none = np.fromiter((r is None for r in raw), np.bool_, len(raw))
            wrong = ~is_number & ~is_none & ((quality & _BAD) == 0)
            self._count(at, wrong)
            quality = np.where(wrong, np.uint32(TYPE_MISMATCH), quality)
            numbers = np.full(len(raw), np.nan)
            numbers[is_number] = _floats(list(compress(raw, is_number)))
        else:
            numbers = _floats(raw)
        return self.take_columns(at, numbers, quality)

    def _count(self, at: Places | int, mended: NDArray[np.bool_]) -> None:
        np.add.at(self.mended, np.broadcast_to(at, mended.shape)[mended], 1)


def _floats(numbers: Sequence[object]) -> Values:
    """Numbers as a column; an integer that is too large for one is NaN."""
    try:
        return np.array(numbers, np.float64)
    except OverflowError:
        return np.array([_float(n) for n in numbers], np.float64)


def _float(number: object) -> float:
    try:
        return float(number)  # type: ignore[arg-type]
    except OverflowError:
        return float("nan")
