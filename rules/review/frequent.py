"""Which alarms came most often, and how they are spread over the priorities."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from rules.review.history import AlarmHistory
from rules.review.spells import Window


@dataclass(frozen=True, slots=True)
class Frequent:
    """An alarm and how much of the load it made.

    Attributes:
        history: the alarm.
        count: how often it was announced within the window.
        share: of all that were announced, %.
    """

    history: AlarmHistory
    count: int
    share: float


def most_frequent(some: Sequence[AlarmHistory], window: Window, most: int = 10) -> list[Frequent]:
    """The alarms that were announced most often, in falling order; those that were not at all are left
    out."""
    counts = [(sum(1 for a in h.announced if a.time_ns in window), h) for h in some]
    total = sum(n for n, _ in counts)
    order = sorted((c for c in counts if c[0]), key=lambda c: (-c[0], c[1].name))
    return [Frequent(h, n, 100 * n / total) for n, h in order[:most]]


def grades(some: Sequence[AlarmHistory], window: Window) -> dict[str, int]:
    """How many announcements had each priority, or class of severity, most frequent first."""
    counts = Counter(a.grade for h in some for a in h.announced if a.time_ns in window)
    return dict(sorted(counts.items(), key=lambda one: (-one[1], one[0])))
