"""Which of two neighbouring pressures follows the other late: its sensor is clogged, or smoothed.

Every cleaning takes a part of the melt for a while, and both pressures dip together; a sensor that is clogged
shows hardly anything of it. How much each moves from ten seconds to the next is learnt: when one has grown
calm while the other moves as ever, the calm one is late. When its clock is off by seconds it still moves.

Derived here: a first-order lag of a minute lets through a seventh of a step within ten seconds.
"""

from __future__ import annotations

from math import isnan, nan, sqrt
from typing import Any

from rules.seen.baseline import Baseline

_WINDOW = 24  # tens of seconds, four minutes: as long as it is between two cleanings
_POINTS, _LEAST = 15, 5  # windows: an hour, and twenty minutes
_IN_A_ROW = 2
_AS_EVER = 1.5
_BACK = 1.5


class Following:
    """Follows two pressures, ten seconds after ten seconds, while melt runs.

    Args:
        moves_bar: how much the other must move from ten seconds to the next, root mean square.
        slow_share: of what is usual; who moves less, while the other moves as ever, follows late.

    Attributes:
        late: 0 when the first of them follows late, 1 when the second does, None when neither.
        moved_bar: how much each moved in the last window.
    """

    def __init__(self, moves_bar: float, slow_share: float) -> None:
        self._moves_bar, self._slow_share = moves_bar, slow_share
        self._last: tuple[float, float] | None = None
        self._sum, self._count = (0.0, 0.0), 0
        self._usual = tuple(Baseline(_POINTS, _LEAST) for _ in range(2))
        self._calm = [0, 0]  # windows in a row
        self.late: int | None = None
        self.moved_bar = (nan, nan)

    @property
    def usual_bar(self) -> tuple[float, float]:
        """How much each usually moves; NaN before it is known."""
        first, second = (u.median for u in self._usual)
        return first, second

    def judge(self, first_bar: float, second_bar: float) -> int:
        """Take the next means; NaN: not known, or it could not be judged.

        Returns:
            1 when one begins to follow late, -1 when it follows again, else 0.
        """
        last, known = self._last, not (isnan(first_bar) or isnan(second_bar))
        self._last = (first_bar, second_bar) if known else None
        if last is None or not known:
            return 0
        self._sum = self._sum[0] + (first_bar - last[0]) ** 2, self._sum[1] + (second_bar - last[1]) ** 2
        self._count += 1
        if self._count < _WINDOW:
            return 0
        self.moved_bar = sqrt(self._sum[0] / _WINDOW), sqrt(self._sum[1] / _WINDOW)
        self._sum, self._count = (0.0, 0.0), 0
        return self._window()

    def _window(self) -> int:
        """What four minutes say."""
        moved, usual = self.moved_bar, self.usual_bar
        if self.late is not None:
            if not moved[self.late] >= _BACK * self._slow_share * usual[self.late]:
                return 0
            self.late, self._calm = None, [0, 0]
            return -1
        for one in range(2):
            calm = moved[one] < self._slow_share * usual[one]
            self._calm[one] = self._calm[one] + 1 if calm and self._moves_as_ever(1 - one) else 0
        if not any(self._calm):
            for baseline, bar in zip(self._usual, moved, strict=True):
                baseline.learn(bar)
        self.late = next((one for one in range(2) if self._calm[one] >= _IN_A_ROW), None)
        return 0 if self.late is None else 1

    def _moves_as_ever(self, one: int) -> bool:
        moved, usual = self.moved_bar[one], self.usual_bar[one]
        return moved >= self._moves_bar and usual / _AS_EVER <= moved <= usual * _AS_EVER

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            "last": self._last,
            "sum": list(self._sum),
            "count": self._count,
            "usual": [u.save() for u in self._usual],
            "calm": list(self._calm),
            "late": self.late,
            "moved": [None if isnan(m) else m for m in self.moved_bar],
        }

    def restore(self, state: Any) -> None:
        """Take up what ``save`` gave."""
        self._last = None if state["last"] is None else (state["last"][0], state["last"][1])
        self._sum, self._count = (state["sum"][0], state["sum"][1]), state["count"]
        for usual, learnt in zip(self._usual, state["usual"], strict=True):
            usual.restore(learnt)
        self._calm, self.late = list(state["calm"]), state["late"]
        first, second = (nan if m is None else m for m in state["moved"])
        self.moved_bar = first, second
