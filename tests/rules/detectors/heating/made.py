"""Made-up plates that switch, melt that runs, and what may befall them: each a few lines that can be followed."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np

from historian.frame import Series
from rules.detector import Detector
from rules.finding import Finding
from rules.line import LineFacts
from tests.rules.detectors.plants import FACTS, NOMINAL_A, Plates, changes
from tests.rules.detectors.signals import Staged, every, play, series

PERIOD_S = 10.0


class Switched(Plates):
    """Plates whose current is seen as it is: 6 A in the on part of each ten seconds, 0 in the off part."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self.share = np.ones_like(self.temp)  # of the nominal current while on
        self.stuck = np.zeros(self.temp.shape, dtype=np.bool_)

    def switch(self) -> None:
        """Make the currents of outputs, shares and stuck relays."""
        on = (self.time_s % PERIOD_S)[None, :] < PERIOD_S * self.out / 100
        self.current = np.where(on | self.stuck, NOMINAL_A * self.share, 0.0)

    def made(self) -> dict[str, Series]:
        if self.with_current:
            self.switch()
        return super().made()


def running(duration_s: int, from_s: int = 0) -> dict[str, Series]:
    """Feed and screw: melt runs from that second on."""
    time_s = np.arange(duration_s, dtype=np.float64)
    on = time_s >= from_s
    return {
        "doser.rate.pv": series(time_s, np.where(on, 780.0, 0.0)),
        "doser.rate.sp": changes(time_s, np.where(on, 780.0, 0.0)),
        "extruder.screw.speed.pv": series(time_s, np.where(on, 95.0, 0.0)),
    }


def judged(
    make: Callable[..., Detector], signals: dict[str, Series], facts: LineFacts = FACTS, step_s: float = 60
) -> list[Finding]:
    """What a rule finds in the signals."""
    return play(Staged.of(make, facts, signals), every(signals, step_s))


def sentences(found: Iterable[Finding]) -> str:
    return " ".join(f.sentence for f in found)
