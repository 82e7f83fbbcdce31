"""Whether a melt pressure reads zero where a person has confirmed that it should."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import isnan
from typing import Any

from historian.frame import NS
from historian.tags import Tag
from rules.detectors.sensing.failed import words
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.rule import TensRule
from rules.seen.stage import Stage, Tens
from rules.seen.told import ZERO_STATE

_PRESSURES = (
    "extruder.head.pressure.pv",
    "pump.inlet.pressure.pv",
    "pump.outlet.pressure.pv",
    "filter.inlet.pressure.pv",
    "filter.outlet.pressure.pv",
    "die.pressure.pv",
)
_STOOD_S = 600.0
_LOOKED_AT_S = 900.0


class PressureZero(TensRule):
    """Rule ``pressure-zero``: read after a person's confirmation, and only then."""

    RULE = "pressure-zero"

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag], stage: Stage) -> None:
        super().__init__(facts, stage)
        self._paths = melt_pressures(tags)
        self._told_ns: int | None = None
        self._sums: dict[str, list[float]] = {}  # path → the readings since the confirmation
        self._standing: set[str] = set()

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say."""
        if any(t.what == ZERO_STATE for t in tens.told):
            self._told_ns, self._sums = tens.time_ns, {p: [] for p in self._paths}
        if self._told_ns is None:
            return
        if tens.line.running is not False or (tens.time_ns - self._told_ns) / NS > _LOOKED_AT_S:
            self._told_ns = None  # melt runs again, or it is long ago
            return
        if tens.line.standing_s < _STOOD_S:
            return
        for path, seen in list(self._sums.items()):
            bar = float(tens.mean[self.stage.column[path]])
            if not isnan(bar):
                seen.append(bar)
            if len(seen) * 10.0 >= self.values["held_s"]:
                yield from self._decide(path, sum(seen) / len(seen), tens)
                del self._sums[path]

    def _decide(self, path: str, bar: float, tens: Tens) -> Iterable[Finding]:
        off = abs(bar) > self.values["zero_bar"]
        if off == (path in self._standing):
            return
        (self._standing.add if off else self._standing.discard)(path)
        figures = {"reads": (bar, "bar"), "permitted": (self.values["zero_bar"], "bar")}
        sentence = (
            f"{words(path)} reads {bar:+.1f} bar in the zero state that a person has confirmed. "
            "What it showed before may be off by as much; it is not corrected."
            if off
            else f"{words(path)} reads {bar:+.1f} bar in the confirmed zero state: near zero again, "
            "which is no proof that no pressure is trapped."
        )
        yield self.finding(
            path.rsplit(".", 1)[0],
            off,
            tens.time_ns,
            sentence[0].upper() + sentence[1:],
            onset_ns=self._told_ns,
            tags=(path,),
            figures=figures,
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        kept = {"told": self._told_ns, "sums": self._sums, "standing": sorted(self._standing)}
        return {**super().save(), **kept}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._told_ns, self._standing = state["told"], set(state["standing"])
        self._sums = {p: list(s) for p, s in state["sums"].items()}


def melt_pressures(tags: Mapping[str, Tag]) -> tuple[str, ...]:
    """The melt pressures that the line has, in the order of the flow."""
    return tuple(p for p in _PRESSURES if p in tags)
