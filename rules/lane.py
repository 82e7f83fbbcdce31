"""A set of detectors that judge together; one that fails is stopped and named, the others go on."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol, runtime_checkable

import numpy as np

from rules.block import Block
from rules.detector import Detector
from rules.entry import plain
from rules.finding import Blind, Finding
from rules.seen.told import Told

MakeDetectors = Callable[[], Sequence[Detector]]


@dataclass(frozen=True, slots=True)
class Stopped:
    """A detector that failed: it judges no more until the line is started again.

    Attributes:
        rule: its name.
        reason: what it failed of.
        tags: paths of the samples that it was given; empty when it failed as time passed.
        late: whether it was one of those that judge late samples.
    """

    rule: str
    reason: str
    tags: tuple[str, ...]
    late: bool = False


@runtime_checkable
class Listener(Protocol):
    """A detector that is told what people say."""

    def tell(self, told: Told) -> None:
        """Take what somebody told."""
        ...


@runtime_checkable
class Hearer(Protocol):
    """A detector for which it counts that something came, however old it is."""

    def hear(self, late: Block) -> None:
        """Take note of samples that came late; they are judged elsewhere."""
        ...


Judged = Finding | Blind | Stopped


class Lane:
    """The detectors of one line, in a fixed order."""

    def __init__(self, make_detectors: MakeDetectors) -> None:
        self._detectors: list[Detector | None] = list(make_detectors())

    @property
    def rules(self) -> frozenset[str]:
        """Names of those that still judge."""
        return frozenset(d.rule for d in self._detectors if d is not None)

    def update(self, block: Block) -> Iterator[Judged]:
        """What the samples tell; nothing is asked of the detectors when there are none."""
        if block.names:
            yield from self._ask(lambda d: d.update(block), block.names)

    def advance(self, now_ns: int) -> Iterator[Judged]:
        """What the passing of time tells."""
        yield from self._ask(lambda d: d.advance(now_ns), ())

    def tell(self, told: Told) -> None:
        """Hand on what somebody told, to those that listen."""
        for detector in self._detectors:
            if isinstance(detector, Listener):
                detector.tell(told)

    def hear(self, late: Block) -> None:
        """Say that samples came late, to those for which that counts."""
        if late.names:
            for detector in self._detectors:
                if isinstance(detector, Hearer):
                    detector.hear(late)

    def save(self) -> list[dict[str, Any]]:
        """The state of every detector that still judges."""
        return [{"rule": d.rule, "state": d.save()} for d in self._detectors if d is not None]

    def restore(self, saved: Sequence[Mapping[str, Any]]) -> list[Stopped]:
        """Take up what ``save`` gave; a rule without a saved state begins anew.

        Returns:
            the rules that could not take up their state; they are stopped.
        """
        states: dict[str, list[Mapping[str, Any]]] = {}
        for one in saved:
            states.setdefault(one["rule"], []).append(one["state"])
        stopped: list[Stopped] = []
        for i, detector in enumerate(self._detectors):
            if detector is None or not states.get(detector.rule):
                continue
            try:
                detector.restore(states[detector.rule].pop(0))
            except Exception as error:
                self._detectors[i] = None
                stopped.append(Stopped(detector.rule, f"its saved state does not fit: {_words(error)}", ()))
        return stopped

    def _ask(
        self, question: Callable[[Detector], Sequence[Finding | Blind]], tags: tuple[str, ...]
    ) -> Iterator[Judged]:
        for i, detector in enumerate(self._detectors):
            if detector is None:
                continue
            # A rule must not take the others down with it, whatever it fails of; it is named all the same.
            try:
                found = list(question(detector))
                for finding in found:
                    plain(finding.to_json())
            except Exception as error:
                self._detectors[i] = None
                yield Stopped(detector.rule, _words(error), tags)
            else:
                yield from found


class LateLane:
    """Judges late samples with detectors of their own, made when first needed.

    They begin anew whenever a lot of late samples goes back behind the newest one that they have judged.
    """

    def __init__(self, make_detectors: MakeDetectors) -> None:
        self._make = make_detectors
        self._lane: Lane | None = None
        self._newest: dict[str, int] = {}

    def update(self, block: Block) -> Iterator[Judged]:
        """What the late samples tell, marked as late."""
        if not block.names:
            return
        first_ns = int(block.time_ns.min())
        if self._lane is None or first_ns < max(self._newest.values(), default=first_ns):
            self._lane, self._newest = Lane(self._make), {}
        for judged in self._lane.update(self._without_repeats(block)):
            if not isinstance(judged, Blind):  # what was blind in time is told already, by the live ones
                yield replace(judged, late=True)

    def _without_repeats(self, block: Block) -> Block:
        """The block without samples that came late twice."""
        kept = {}
        for path in block.paths():
            series = block.series(path)
            new = series.time_ns > self._newest.get(path, np.iinfo(np.int64).min)
            if new.any():
                kept[path] = type(series)(series.time_ns[new], series.value[new], series.quality[new])
                self._newest[path] = int(series.time_ns[-1])
        return Block(kept, block.arrival_ns)

    def save(self) -> dict[str, Any] | None:
        """The detectors' states; None when no late sample has come yet."""
        return None if self._lane is None else {"newest": dict(self._newest), "rules": self._lane.save()}

    def restore(self, state: Mapping[str, Any] | None) -> list[Stopped]:
        """Take up what ``save`` gave."""
        self._lane, self._newest = None, {}
        if state is None:
            return []
        self._lane, self._newest = Lane(self._make), dict(state["newest"])
        return [replace(s, late=True) for s in self._lane.restore(state["rules"])]


def _words(error: Exception) -> str:
    return f"{type(error).__name__}: {error}"[:500]
