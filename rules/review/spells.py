"""Spells of time: half-open stretches, of which the last may still go on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from historian.frame import NS


@dataclass(frozen=True, slots=True)
class Window:
    """What is reviewed: start ≤ time < end, UTC nanoseconds."""

    start_ns: int
    end_ns: int

    @property
    def s(self) -> float:
        """Its length, seconds."""
        return (self.end_ns - self.start_ns) / NS

    def __contains__(self, time_ns: int) -> bool:
        return self.start_ns <= time_ns < self.end_ns


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch of time in which something held.

    Attributes:
        start_ns: when it began.
        end_ns: when it ended; None while it goes on.
        end_known: False where only a later time is known at which it was over.
    """

    start_ns: int
    end_ns: int | None
    end_known: bool = True

    def until(self, now_ns: int) -> int:
        """Its end; ``now_ns`` while it goes on."""
        return now_ns if self.end_ns is None else self.end_ns


def within(spells: Iterable[Spell], window: Window) -> list[Spell]:
    """The parts of the spells that lie in the window, none of them empty and none open."""
    cut = [
        Spell(max(s.start_ns, window.start_ns), min(s.until(window.end_ns), window.end_ns)) for s in spells
    ]
    return [s for s in cut if s.end_ns is not None and s.start_ns < s.end_ns]


def union(spells: Iterable[Spell], now_ns: int) -> list[Spell]:
    """The time that any of the spells covers, as spells apart from one another, in order.

    Example:
        >>> [(s.start_ns, s.end_ns) for s in union([Spell(5, 9), Spell(0, 3), Spell(3, 4)], 10)]
        [(0, 4), (5, 9)]
    """
    joined: list[Spell] = []
    for one in sorted(spells, key=lambda s: s.start_ns):
        end_ns = one.until(now_ns)
        if joined and one.start_ns <= joined[-1].until(now_ns):
            joined[-1] = Spell(joined[-1].start_ns, max(joined[-1].until(now_ns), end_ns))
        else:
            joined.append(Spell(one.start_ns, end_ns))
    return joined


def without(spells: Iterable[Spell], taken: Iterable[Spell], now_ns: int) -> list[Spell]:
    """The time that the spells cover and ``taken`` does not."""
    left = union(spells, now_ns)
    for away in union(taken, now_ns):
        a, b = away.start_ns, away.until(now_ns)
        parts: list[Spell] = []
        for s in left:
            end_ns = s.until(now_ns)
            parts += [
                Spell(x, y) for x, y in ((s.start_ns, min(end_ns, a)), (max(s.start_ns, b), end_ns)) if x < y
            ]
        left = parts
    return left


def total_s(spells: Iterable[Spell], window: Window) -> float:
    """How long the spells lasted within the window, each for itself, seconds."""
    return sum(s.until(window.end_ns) - s.start_ns for s in within(spells, window)) / NS
