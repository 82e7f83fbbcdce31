"""What a scale-up says: areas with their range, what each machine of the table would do, or why nothing."""

from __future__ import annotations

from dataclasses import dataclass

from trials.scale_up.seen import Seen
from trials.scale_up.sizes import Size
from trials.scale_up.wanted import Wanted

Spread = tuple[float, float, float]
"""P5, P50, P95."""


@dataclass(frozen=True, slots=True)
class SizeRow:
    """What one machine of the table would do.

    Attributes:
        specific_kg_h_cm2: the wanted throughput on its area.
        chance: how likely its area is enough, 0 to 1.
        after_bar: pressure difference after a cleaning, with its whole area in use.
        period_s: time from one cleaning to the next; 0 where it would clean without a pause.
        outside: whether it lies above the highest specific throughput that the site has set.
        beyond: whether its area lies beyond what the site lets go from the trial's.
    """

    size: Size
    specific_kg_h_cm2: float
    chance: float
    after_bar: Spread
    period_s: Spread
    outside: bool
    beyond: bool


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to one question.

    Attributes:
        refused: why there is none, each a sentence; all else is empty then.
        area_cm2: that is needed; None when refused.
        by_pressure: share of the draws in which the pressure needs the area, not the interval.
        rows: of the table, the smallest machine first.
        chosen: the smallest that is enough with the chance that was asked for; None: no machine is.
        assumptions: what it rests on, each a sentence.
        doubts: what was not shown, each a sentence.
    """

    seen: Seen
    wanted: Wanted
    refused: tuple[str, ...] = ()
    area_cm2: Spread | None = None
    by_pressure: float = 0.0
    rows: tuple[SizeRow, ...] = ()
    chosen: SizeRow | None = None
    assumptions: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()

    @property
    def specific_kg_h_cm2(self) -> float | None:
        """The wanted throughput on the middle of the area's range; None when refused."""
        return None if self.area_cm2 is None else self.wanted.throughput / self.area_cm2[1]

    @property
    def outside(self) -> bool:
        """Whether that lies above the highest that the site has set; False where it has set none."""
        most, specific = self.wanted.most_specific, self.specific_kg_h_cm2
        return most is not None and specific is not None and specific > most
