"""From blocks of what messages said to columns for the inbox: units, qualities, dead bands."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Final, cast

import numpy as np
from numpy.typing import NDArray

from collector.columns import Columns
from collector.complaints import Complaints
from collector.reading.deadband import Deadband
from collector.reading.readings import Places, Readings, Values
from historian.frame import Qualities, Times

EXACT: Final = 2**53
"""Whole numbers beyond it are not all kept exactly."""


@dataclass(slots=True)
class Block:
    """Samples that were read and wait to become columns, in the order in which they came.

    Attributes:
        at: places of the tags in the source's list: one array for a batch whose layout is known, else a list.
        raw: what was said: an array where all of it are numbers, else a list of whatever it was.
        time_ns: one for all, or one each.
        quality: one for all, or one each.
        topic: where it came from; empty for single samples.
    """

    at: list[int] | NDArray[np.intp]
    raw: list[object] | array[float]
    time_ns: int | list[int]
    quality: int | list[int] = 0
    topic: str = ""

    def __len__(self) -> int:
        return len(self.raw)


class ColumnMaker:
    """Makes columns of blocks.

    Args:
        readings: of the source's tags.
        deadbands: of each tag, None for none.
        complaints: where numbers that are not kept exactly are counted.
    """

    def __init__(
        self, readings: Readings, deadbands: Sequence[Deadband | None], complaints: Complaints
    ) -> None:
        self._readings, self._deadbands, self._complaints = readings, deadbands, complaints
        self._banded = any(band is not None for band in deadbands)

    def columns(self, blocks: Sequence[Block]) -> Columns:
        """What is kept of all blocks, in the order in which it came."""
        if not blocks:
            return Columns.of([], [], [], [])
        if not self._banded and _are_alike(blocks):
            return self._scans(blocks)
        if all(isinstance(b.raw, array) for b in blocks):
            at, time_ns, said = _places(blocks)
            raw = _raw(blocks)
            self._tell_large(blocks, raw)
            value, quality = self._readings.take_columns(at, raw, said)
        else:
            at, time_ns, said = _places(blocks)
            mixed = list(chain.from_iterable(b.raw for b in blocks))
            value, quality = self._readings.take_mixed(at, mixed, said)
        columns = Columns(self._readings.tag_id[at], time_ns, value, quality)
        return columns.chosen(self._passing(at, columns)) if self._banded else columns

    def _scans(self, blocks: Sequence[Block]) -> Columns:
        """Batches of one layout, which needs to be looked up once: machines send the same again and again."""
        layout = cast(Places, blocks[0].at)
        raw = _raw(blocks)
        self._tell_large(blocks, raw)
        table = raw.reshape(len(blocks), len(layout))
        value, quality = self._readings.take_columns(layout, table, np.zeros(table.shape, np.uint32))
        time_ns = np.repeat(np.array([b.time_ns for b in blocks], np.int64), len(layout))
        tag = np.tile(self._readings.tag_id[layout], len(blocks))
        return Columns(tag, time_ns, value.ravel(), quality.ravel())

    def _tell_large(self, blocks: Sequence[Block], raw: Values) -> None:
        """Count the numbers of batches that are so large that whole ones are not all kept exactly."""
        if not len(raw) or (raw.min() >= -EXACT and raw.max() <= EXACT):
            return
        for block in blocks:
            if block.topic and (large := [v for v in block.raw if abs(v) > EXACT]):  # type: ignore[arg-type]
                self._complaints.add("exact", block.topic, large[0], len(large))

    def _passing(self, at: Places, columns: Columns) -> NDArray[np.bool_]:
        """Which samples the dead bands let through."""
        bands = self._deadbands
        passing = (
            (band := bands[place]) is None or band.passes(time_ns, value, quality)
            for place, (_, time_ns, value, quality, _) in zip(at.tolist(), columns.rows(), strict=True)
        )
        return np.fromiter(passing, np.bool_, len(at))


def _are_alike(blocks: Sequence[Block]) -> bool:
    """Whether all are batches of numbers in one layout, each of one time, and good."""
    layout = blocks[0].at
    return isinstance(layout, np.ndarray) and all(
        b.at is layout and isinstance(b.raw, array) and isinstance(b.time_ns, int) and b.quality == 0
        for b in blocks
    )


def _raw(blocks: Sequence[Block]) -> Values:
    """What all blocks of numbers say, one after the other."""
    return np.frombuffer(b"".join(b.raw for b in blocks), np.float64)  # type: ignore[misc]


def _places(blocks: Sequence[Block]) -> tuple[Places, Times, Qualities]:
    """Places, times and what is said of the quality, of all blocks, one after the other."""
    at = np.concatenate([b.at for b in blocks]).astype(np.intp, copy=False)
    time_ns = np.concatenate([np.broadcast_to(np.asarray(b.time_ns, np.int64), len(b)) for b in blocks])
    quality = np.concatenate([np.broadcast_to(np.asarray(b.quality, np.uint32), len(b)) for b in blocks])
    return at, time_ns, quality
