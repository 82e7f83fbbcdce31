"""Whether enough process water flows while knives cut."""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan, nan
from typing import Any

import numpy as np

from rules.line import LineFacts
from rules.seen.condition import Words
from rules.seen.seconds import Floats, SecondsRule
from rules.seen.stage import Stage, Tens
from rules.seen.usual_values import Usual, ratio

FLOW, FLOW_SP, PUMP = "water.flow.pv", "water.flow.sp", "water.pressure.pv"
WATER_ON, KNIVES, SCREW = "pelletizer.water.state", "pelletizer.knife.speed.pv", "extruder.screw.speed.pv"

_CUTS = 100.0
_LOWER_BAR, _HIGHER_BAR = 0.85, 1.1


class WaterFlow(SecondsRule):
    """Rule ``water-flow``: too little water while knives turn and the screw feeds them."""

    RULE = "water-flow"
    SUBJECT = "water.flow"
    TAGS = (FLOW, FLOW_SP, PUMP, "water.tank.level.pv", "water.return.temp.pv", KNIVES)

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._usual = Usual(("flow", "pressure"))
        self._flow, self._wanted = stage.column[FLOW], stage.column.get(FLOW_SP, -1)

    def _needed(self, value: Floats) -> Floats:
        """Whether water is needed, shape (m,): 1, 0, or NaN where it is not known."""
        at, column = self.stage.at, self.stage.column
        knives, screw, on = (at(value, p) if p in column else None for p in (KNIVES, SCREW, WATER_ON))
        melt = [s > t for s, t in ((screw, 1.0), (on, 0.5)) if s is not None]
        unknown = np.zeros(len(value), dtype=np.bool_) if knives is None else np.isnan(knives)
        needed = np.ones(len(value), dtype=np.bool_) if knives is None else knives > _CUTS
        if melt:
            needed = needed & np.any(melt, axis=0)
        return np.where(unknown, np.nan, needed.astype(np.float64))

    def _share(self, value: Floats) -> Floats:
        """Flow as a share of what is wanted, shape (m,)."""
        flow = self.stage.at(value, FLOW)
        wanted = self.stage.at(value, FLOW_SP) if FLOW_SP in self.stage.column else self._usual["flow"]
        with np.errstate(divide="ignore", invalid="ignore"):
            share: Floats = flow / np.where(np.greater(wanted, 0), wanted, np.nan)
        return share

    def near(self, value: Floats) -> bool:
        """Whether it is too low at all while it is needed."""
        wanted = value[:, self._wanted] if self._wanted >= 0 else self._usual["flow"]
        if not bool((value[:, self._flow] < self.values["flow_share"] * wanted).any()):
            return False
        return bool(((self._share(value) < self.values["flow_share"]) & (self._needed(value) > 0)).any())

    def second(self, time_ns: int, row: Floats) -> bool | None:
        """Too low while it is needed."""
        share, needed = float(self._share(row[None, :])[0]), float(self._needed(row[None, :])[0])
        if isnan(share) or isnan(needed):
            return None
        band = self.values["dead_band_share"] if self.episode.standing else 0.0
        return needed > 0 and share < self.values["flow_share"] + band

    def why_not(self, tens: Tens) -> str | None:
        """Learns flow and pressure before the ring of sound running."""
        flow = float(tens.mean[self.stage.column[FLOW]])
        if isnan(flow):
            return "the flow is not known"
        if tens.line.unsettled() is None and not self.episode.standing and not self.episode.waits:
            pressure = self.stage.column.get(PUMP, -1)
            self._usual.learn((flow, float(tens.mean[pressure]) if pressure >= 0 else nan))
        if FLOW_SP not in self.stage.column and isnan(self._usual["flow"]):
            return "what is usual is not yet learnt"
        return None

    def begun(self, row: Floats) -> Words:
        """How little, and what the pressure before the ring says of the cause."""
        flow, pressure = self.at(row, FLOW), self.at(row, PUMP)
        share = float(self._share(row[None, :])[0])
        change = ratio(pressure, self._usual["pressure"])
        if change > _HIGHER_BAR:
            cause = f" The pressure before the ring rose to {pressure:.1f} bar: strainer or nozzles may be "
            "blocked."
        elif change < _LOWER_BAR:
            cause = (
                f" The pressure before the ring fell to {pressure:.1f} bar: the pump may draw air or stand."
            )
        else:
            cause = " What holds it back is not known."
        sentence = (
            f"Only {flow:.1f} m3/h of process water flow, {100 * share:.0f} % of what is wanted, while the "
            "knives "
            f"cut: pellets can weld together within seconds.{cause}"
        )
        figures = {
            "flow": (flow, "m3/h"),
            "share of what is wanted": (100 * share, "%"),
            "pressure before the ring": (pressure, "bar"),
            "usual pressure": (self._usual["pressure"], "bar"),
        }
        return sentence, figures

    def over(self, row: Floats) -> str:
        """Why it is over."""
        if not float(self._needed(row[None, :])[0]) > 0:
            return "The knives no longer cut."
        return f"{self.at(row, FLOW):.1f} m3/h of process water flow again."

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {**super().save(), "usual": self._usual.save()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._usual.restore(state["usual"])
