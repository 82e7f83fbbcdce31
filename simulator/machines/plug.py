"""A stretch of conveying pipe: what enters leaves in the same order, a fixed time later."""

from __future__ import annotations


class Plug:
    """Mass and energy on their way, without mixing.

    Attributes:
        held_kg, held_kj: on the way now.
        out_kg, out_kj: what left in the last step.
    """

    __slots__ = ("_dt_s", "_kg", "_kj", "_place", "delay_s", "held_kg", "held_kj", "out_kg", "out_kj")

    def __init__(self, delay_s: float) -> None:
        """Empty; ``delay_s`` is rounded to whole steps, at least one."""
        self.delay_s = delay_s
        self._dt_s = 0.0
        self._kg: list[float] = [0.0]
        self._kj: list[float] = [0.0]
        self._place = 0
        self.held_kg = self.held_kj = 0.0
        self.out_kg = self.out_kj = 0.0

    def step(self, dt_s: float, in_kg: float, in_kj: float) -> None:
        """Take what came in this step, give what came in ``delay_s`` ago."""
        if dt_s != self._dt_s:
            self._fit(dt_s)
        place = self._place
        out_kg, out_kj = self._kg[place], self._kj[place]
        self._kg[place], self._kj[place] = in_kg, in_kj
        self._place = place + 1 if place + 1 < len(self._kg) else 0
        self.held_kg += in_kg - out_kg
        self.held_kj += in_kj - out_kj
        self.out_kg, self.out_kj = out_kg, out_kj

    def _fit(self, dt_s: float) -> None:
        """Another length of step: what is on the way is spread evenly over the new places."""
        count = max(1, round(self.delay_s / dt_s))
        held_kg, held_kj = sum(self._kg), sum(self._kj)
        self._kg = [held_kg / count] * count
        self._kj = [held_kj / count] * count
        self._place = 0
        self._dt_s = dt_s
