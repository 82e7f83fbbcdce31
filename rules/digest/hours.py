"""How long parts that wear have run since they were changed; what cannot be told is not known.

A part runs while the screw turns. common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS
from rules.digest.told import BLADE, KNIVES, SCREEN, Repair

SCREW: Final = "extruder.screw.speed.pv"
KNIFE_HOURS: Final = "pelletizer.knife.hours.total"
CLEANINGS: Final = "filter.wipe.count.total"

_TURNS_PER_MIN: Final = 1.0
_HOUR_NS: Final = 3600 * NS


@dataclass(frozen=True, slots=True)
class Worn:
    """How long a part has run.

    Attributes:
        part: its path; of a group of parts without a change on record, their common path.
        hours: since it was changed; None: not known.
        since_ns: when it was changed, UTC nanoseconds; None: not known.
        more: what else counts, such as "212 cleanings".
    """

    part: str
    hours: float | None
    since_ns: int | None = None
    more: str = ""


@dataclass(frozen=True, slots=True)
class Turning:
    """When the screw turned.

    Attributes:
        start_ns: starts of intervals, rising, UTC nanoseconds, shape (n,).
        most_per_min: the fastest that it turned in each, 1/min, NaN where it is not known, shape (n,).
        interval_ns: their length.
        from_ns: the record begins here: what was before is not known.
    """

    start_ns: NDArray[np.int64]
    most_per_min: NDArray[np.float64]
    interval_ns: int
    from_ns: int

    def hours(self, since_ns: int, until_ns: int) -> float | None:
        """Hours in which it turned; None when the record does not go back so far.

        Example:
            >>> t = np.arange(3, dtype=np.int64) * _HOUR_NS
            >>> Turning(t, np.array([100.0, 0.0, 120.0]), _HOUR_NS, 0).hours(0, 3 * _HOUR_NS)
            2.0
        """
        if since_ns < self.from_ns:
            return None
        turned = self.start_ns[self.most_per_min > _TURNS_PER_MIN]
        begin = np.maximum(turned, since_ns)
        end = np.minimum(turned + self.interval_ns, until_ns)
        return float(np.sum(np.maximum(end - begin, 0)) / _HOUR_NS)


def worn_of(
    parts: Sequence[str],
    repairs: Sequence[Repair],
    turning: Turning | None,
    until_ns: int,
    *,
    knife_hours: float | None = None,
    cleanings: float | None = None,
) -> list[Worn]:
    """The hours of each part, in the order of the parts; plates and probes without a change stand together.

    Args:
        parts: paths of what wears on this line.
        repairs: changes and repairs up to ``until_ns``.
        turning: None when the screw's speed is not recorded.
        knife_hours: the machine's own counter, h; None when there is none.
        cleanings: since the screen was changed, by the machine's own counter; None when there is none.
    """
    last = {r.part: r.time_ns for r in repairs if r.time_ns <= until_ns}
    found: dict[str, Worn] = {}
    for part in parts:
        since_ns = last.get(part)
        hours = None if since_ns is None or turning is None else turning.hours(since_ns, until_ns)
        more = ""
        if part == KNIVES and knife_hours is not None:
            hours, more = knife_hours, "by the machine's own counter"
        if part == SCREEN and cleanings is not None:
            more = f"{cleanings:.0f} cleanings, by the machine's own counter"
        known = hours is not None or since_ns is not None or more
        name = part if known or part in (SCREEN, BLADE, KNIVES) else _group(part)
        found.setdefault(name, Worn(name, hours, since_ns, more))
    return list(found.values())


def _group(part: str) -> str:
    """The common path of parts of a kind: all plates, or all probes."""
    pieces = part.split(".")
    return ".".join("*" if p.isdecimal() else p for p in pieces)
