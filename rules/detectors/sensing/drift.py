"""Whether two pressures along the melt contradict each other while it flows: it flows downhill."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise
from math import isnan
from typing import Any

from historian.tags import Tag
from rules.detectors.sensing.failed import words
from rules.detectors.sensing.zero import melt_pressures
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.episode import Episodes
from rules.seen.rule import TensRule
from rules.seen.stage import Stage, Tens
from rules.seen.tens import TENS_S

_WIPE_S = 30.0


class SensorDrift(TensRule):
    """Rule ``sensor-drift``: of two neighbours the one downstream reads higher."""

    RULE = "sensor-drift"

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag], stage: Stage) -> None:
        super().__init__(facts, stage)
        self._pairs = neighbours(tags)
        held_s = self.values["held_s"] - TENS_S
        self._episodes = Episodes(held_s, held_s)

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say."""
        why = tens.line.unsettled(start_s=300.0, settle_s=60.0)
        yield from self.blind.note(tens.time_ns, why)
        if why is not None or tens.line.wiped_s < _WIPE_S:
            return
        for up, down in self._pairs:
            loss_bar = float(tens.mean[self.stage.column[up]] - tens.mean[self.stage.column[down]])
            known = not isnan(loss_bar)
            yield from self.blind.note(tens.time_ns, None if known else "a pressure is not known", up)
            change = self._episodes[up].judge(
                tens.time_ns, loss_bar < -self.values["reverse_bar"] if known else None
            )
            if change:
                yield self._said(up, down, loss_bar, tens, active=change > 0)

    def _said(self, up: str, down: str, loss_bar: float, tens: Tens, *, active: bool) -> Finding:
        sentence = (
            f"{words(down)} reads {-loss_bar:.1f} bar more than {words(up)} before it, while melt flows from "
            "there to here. One of the two is off; which one is not known."
            if active
            else f"{words(down)} no longer reads more than {words(up)} before it."
        )
        return self.finding(
            up.rsplit(".", 1)[0],
            active,
            tens.time_ns,
            sentence[0].upper() + sentence[1:],
            onset_ns=self._episodes[up].onset_ns,
            tags=(up, down),
            figures={"pressure lost on the way": (loss_bar, "bar"), "expected at least": (0.0, "bar")},
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {**super().save(), "episodes": self._episodes.save()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._episodes.restore(state["episodes"])


def neighbours(tags: Mapping[str, Tag]) -> list[tuple[str, str]]:
    """Melt pressures that follow each other with nothing between them that adds pressure."""
    pairs = pairwise(melt_pressures(tags))
    return [(up, down) for up, down in pairs if down != "pump.outlet.pressure.pv"]
