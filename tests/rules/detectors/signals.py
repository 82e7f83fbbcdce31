"""Made-up signals for detector tests, and ways to play them to a detector block by block."""

from __future__ import annotations

import inspect
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from historian.catalogue import canonical_tag
from historian.frame import NS, Series
from historian.tags import Tag
from rules.block import Block
from rules.detector import Detector
from rules.detectors import detectors_for
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.stage import Stage

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


class Staged:
    """A detector with the stage that it looks at, as a line's set has them."""

    def __init__(self, stage: Stage, detector: Detector) -> None:
        self.stage, self.detector, self.rule = stage, detector, detector.rule

    @classmethod
    def of(cls, make: Callable[..., Detector], facts: LineFacts, signals: Iterable[str]) -> Staged:
        """The detector on a line that has these signals."""
        tags = tags_of(signals)
        stage = Stage(facts, tags)
        needs_tags = "tags" in inspect.signature(make).parameters
        return cls(stage, make(facts, tags, stage) if needs_tags else make(facts, stage))

    @classmethod
    def picked(cls, rule: str, facts: LineFacts, tags: Mapping[str, Tag]) -> Staged:
        """A rule's detector of a line, and no other."""
        stage, *detectors = detectors_for(facts, tags)
        assert isinstance(stage, Stage)
        return cls(stage, next(d for d in detectors if d.rule == rule))

    def update(self, block: Block) -> Sequence[Finding | Blind]:
        self.stage.update(block)
        return self.detector.update(block)

    def advance(self, now_ns: int) -> Sequence[Finding | Blind]:
        return self.detector.advance(now_ns)

    def save(self) -> dict[str, Any]:
        return {"stage": self.stage.save(), "rule": self.detector.save()}

    def restore(self, state: Mapping[str, Any]) -> None:
        self.stage.restore(state["stage"])
        self.detector.restore(state["rule"])


def play(detector: Detector, blocks: Iterable[Block]) -> list[Finding]:
    """What the detector finds in the blocks; time passes to each block's arrival."""
    return [told for told in played(detector, blocks) if isinstance(told, Finding)]


def played(detector: Detector, blocks: Iterable[Block]) -> list[Finding | Blind]:
    """What the detector says of the blocks, also of what it could not judge."""
    found: list[Finding | Blind] = []
    for block in blocks:
        found.extend(detector.update(block))
        found.extend(detector.advance(block.arrival_ns))
    return found


def play_with_restarts(make: Callable[[], Detector], blocks: Sequence[Block], at: set[int]) -> list[Finding]:
    """The same, but before each block whose number is in ``at`` the detector is saved as text and made anew."""
    detector = make()
    found: list[Finding | Blind] = []
    for number, block in enumerate(blocks):
        if number in at:
            text = json.dumps(detector.save(), allow_nan=False)
            detector = make()
            detector.restore(json.loads(text))
        found.extend(detector.update(block))
        found.extend(detector.advance(block.arrival_ns))
    return [told for told in found if isinstance(told, Finding)]


def states(found: Iterable[Finding]) -> list[tuple[str, bool]]:
    """Subject, and whether it began or ended."""
    return [(f.subject, f.active) for f in found]
