"""What a source sends in the life of a line: any frame by its arrival number, late and doubled samples in it.

A frame follows from the seed and its number alone, so what a store must hold can be said without asking it.
"""

from __future__ import annotations

from functools import cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from historian import NS, Frame, Tag, TagKind

HOUR = 3_600 * NS
DAY = 24 * HOUR
START = 20_000 * DAY  # midnight UTC, 2024-10-04
EVERY = 1_800 * NS
LATEST = 12 * HOUR
"""How much older than its arrival a sample is at most."""

TAGS = (
    Tag("filter.inlet.pressure.pv", "bar"),
    Tag("filter.outlet.pressure.pv", "bar"),
    Tag("extruder.melt.temp.pv", "Cel"),
    Tag("extruder.screw.speed.sp", "/min", TagKind.STEP),
    Tag("line.running.state", "1", TagKind.BOOLEAN),
)
NUMBERS = {tag.path: number for number, tag in enumerate(TAGS, 1)}

_EPOCH = 45  # frames that come before the source's clock is set again
_SCANS = np.arange(0, 1_800, 225) * NS
_BAD = 0x808C_0000
_NO_DATA = 0x809B_0000


Count = TypeVar("Count", int, NDArray[np.int64])


def arrival_of(number: Count) -> Count:
    """When a frame reaches the edge, UTC nanoseconds."""
    return START + number * EVERY


@cache
def frame_of(seed: int, number: int) -> Frame:
    """The frame with this arrival number."""
    chance = np.random.default_rng((seed, number))
    if number % 29 == 0:
        return _frame([], number)
    rows = [*_fresh(seed, number)]
    if number > 2 and chance.random() < 0.4:
        rows += _again(seed, number, chance)
    if chance.random() < 0.2:
        rows += _late(number, chance)
    return _frame(rows, number)


Row = tuple[int, int, float, int]


@cache
def _fresh(seed: int, number: int) -> tuple[Row, ...]:
    """Scans of three tags together, a set-point and a state with times of their own, a few bad samples."""
    chance = np.random.default_rng((seed, number, 1))
    start = arrival_of(number - 1)
    rows = []
    for at in (start + _SCANS + 7_000_000).tolist():
        for tag in (1, 2, 3):
            value = round(100 * tag + float(chance.normal()), 1)
            bad = chance.random() < 0.02
            rows.append((tag, at, float("nan") if bad else value, _BAD if bad else 0))
    own = np.sort(chance.choice(1_800, 4, replace=False)) * NS
    rows += [(4, start + at + 11, float(chance.integers(40, 90)), 0) for at in own.tolist()]
    rows += [(5, start + at + 13, float(chance.integers(0, 2)), 0) for at in own[:2].tolist()]
    return tuple(rows)


def _again(seed: int, number: int, chance: np.random.Generator) -> list[Row]:
    """Samples that came before: some as they were, some with another value, one twice in this very frame."""
    before = _fresh(seed, int(chance.integers(max(1, number - 40), number)))
    rows: list[Row] = []
    for place in chance.integers(0, len(before), 6).tolist():
        tag, at, value, quality = before[place]
        if chance.random() < 0.5:
            value, quality = float(chance.integers(-50, 50)) / 8, 0
        rows.append((tag, at, value, quality))
    tag, at, _, _ = rows[-1]
    return [*rows, (tag, at, float(chance.integers(200, 300)), 0)]


def _late(number: int, chance: np.random.Generator) -> list[Row]:
    """Samples from hours that may be sealed long since, and the mark of a gap."""
    at = arrival_of(number) - int(chance.integers(2 * HOUR, LATEST))
    rows = [(int(chance.integers(1, 6)), at + k * NS + number, float(k), 0) for k in range(5)]
    return [(tag, max(t, START + number), v, q) for tag, t, v, q in [*rows, (4, at, float("nan"), _NO_DATA)]]


def _frame(rows: list[Row], number: int) -> Frame:
    columns = [[row[k] for row in rows] for k in range(4)]
    return Frame.of(*columns, arrival_ns=arrival_of(number), clock_epoch=number // _EPOCH)
