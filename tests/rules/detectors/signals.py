"""Made-up signals for detector tests, and ways to play them to a detector block by block."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from historian.catalogue import canonical_tag
from historian.frame import NS, Series
from historian.tags import Tag
from rules.block import Block
from rules.detector import Detector
from rules.finding import Finding

T0_NS = 1_900_000_000 * NS
Floats = NDArray[np.float64]
Signals = Mapping[str, Series]


def tags_of(paths: Iterable[str], source: str = "plc") -> dict[str, Tag]:
    """Canonical tags, numbered, all of one source."""
    return {p: replace(canonical_tag(p, source=source), id=i + 1) for i, p in enumerate(paths)}


def series(time_s: ArrayLike, value: ArrayLike, quality: ArrayLike = 0) -> Series:
    """A series at seconds after the tests' time zero."""
    seconds = np.asarray(time_s, dtype=np.float64)
    times = T0_NS + np.round(seconds * 1000).astype(np.int64) * (NS // 1000)
    return Series.of(times, np.broadcast_to(np.asarray(value, np.float64), seconds.shape), quality)


def seconds_of(time_ns: int) -> float:
    """A time as seconds after the tests' time zero."""
    return (time_ns - T0_NS) / NS


def cut(signals: Signals, cuts_s: Sequence[float]) -> list[Block]:
    """The signals as blocks that end at the given seconds; every sample is in exactly one."""
    edges = [np.iinfo(np.int64).min, *(T0_NS + round(c * 1000) * (NS // 1000) for c in sorted(cuts_s))]
    edges.append(np.iinfo(np.int64).max)
    blocks = []
    for a, b in pairwise(edges):
        parts = {}
        for path, one in signals.items():
            i, j = np.searchsorted(one.time_ns, [a, b], side="left")
            if j > i:
                parts[path] = Series(one.time_ns[i:j], one.value[i:j], one.quality[i:j])
        if parts:
            blocks.append(Block(parts, max(int(s.time_ns[-1]) for s in parts.values())))
    return blocks


def every(signals: Signals, step_s: float) -> list[Block]:
    """The signals as blocks of equal length."""
    last = max(seconds_of(int(s.time_ns[-1])) for s in signals.values())
    return cut(signals, np.arange(step_s, last + step_s, step_s).tolist())


def play(detector: Detector, blocks: Iterable[Block]) -> list[Finding]:
    """What the detector says of the blocks; time passes to each block's arrival."""
    found: list[Finding] = []
    for block in blocks:
        found.extend(detector.update(block))
        found.extend(detector.advance(block.arrival_ns))
    return found


def play_with_restarts(make: Callable[[], Detector], blocks: Sequence[Block], at: set[int]) -> list[Finding]:
    """The same, but before each block whose number is in ``at`` the detector is saved as text and made anew."""
    detector, found = make(), []
    for number, block in enumerate(blocks):
        if number in at:
            text = json.dumps(detector.save(), allow_nan=False)
            detector = make()
            detector.restore(json.loads(text))
        found.extend(detector.update(block))
        found.extend(detector.advance(block.arrival_ns))
    return found


def states(found: Iterable[Finding]) -> list[tuple[str, bool]]:
    """Subject, and whether it began or ended."""
    return [(f.subject, f.active) for f in found]
