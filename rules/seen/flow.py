"""How much melt comes out of the die, and whether it has come evenly: from the feed of a little while ago."""

from __future__ import annotations

from collections import deque
from math import isnan, nan
from typing import Any

from rules.seen.stage import Stage, Tens

RATE, RATE_SP = "doser.rate.pv", "doser.rate.sp"

_LAG = slice(-9, -6)  # tens of seconds from doser to die: 60 to 90 s. common practice, no source
_KEPT = 18
_UNEVEN = 0.1
"""More or less than the feed's set-point by so much is no even feed."""


class Flow:
    """Follows the feed.

    Attributes:
        kg_h: what comes out of the die now; NaN when the feed of then is not known.
        uneven: the feed was off its set-point within the last three minutes.
    """

    def __init__(self, stage: Stage) -> None:
        self._columns = (stage.column.get(RATE, -1), stage.column.get(RATE_SP, -1))
        self._kept: deque[tuple[float, float]] = deque(maxlen=_KEPT)  # feed, share of its set-point

    def push(self, tens: Tens) -> None:
        """Take the next ten seconds."""
        rate, set_point = (float(tens.mean[c]) if c >= 0 else nan for c in self._columns)
        self._kept.append((rate, rate / set_point if set_point > 0 else nan))

    @property
    def kg_h(self) -> float:
        """See the class."""
        known = [rate for rate, _ in list(self._kept)[_LAG] if not isnan(rate)]
        return sum(known) / len(known) if known else nan

    @property
    def uneven(self) -> bool:
        """See the class."""
        return any(abs(share - 1) > _UNEVEN for _, share in self._kept)

    def save(self) -> list[list[float | None]]:
        """The state as JSON types (NaN as null)."""
        return [[None if isnan(v) else v for v in pair] for pair in self._kept]

    def restore(self, state: Any) -> None:
        """Take up what ``save`` gave."""
        self._kept.clear()
        self._kept.extend((nan if r is None else r, nan if s is None else s) for r, s in state)
