"""Whether the knives are pressed to the die plate as they ought to be."""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan
from typing import Any

import numpy as np

from rules.line import LineFacts
from rules.seen.condition import Words
from rules.seen.seconds import Floats, SecondsRule
from rules.seen.stage import Stage, Tens
from rules.seen.usual_values import Usual

TORQUE = "pelletizer.knife.torque.pv"
PRESSURE, PRESSURE_SP = "pelletizer.knife.pressure.pv", "pelletizer.knife.pressure.sp"
SPEED, SPEED_SP = "pelletizer.knife.speed.pv", "pelletizer.knife.speed.sp"

_CUTS = 100.0
_NEAR_SPEED = 0.9


class KnifePressure(SecondsRule):
    """Rule ``knife-pressure``: the knives turn at their speed, and are pressed less than set."""

    RULE = "knife-pressure"
    SUBJECT = "pelletizer.knife"
    TAGS = (PRESSURE, PRESSURE_SP, SPEED, TORQUE, "util.air.pressure.pv")

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._usual = Usual(("pressure",))
        self._column, self._set = stage.column[PRESSURE], stage.column.get(PRESSURE_SP, -1)

    def _wanted(self, value: Floats) -> Floats:
        """Shape (m,): the set-point, or the usual where there is none."""
        if PRESSURE_SP in self.stage.column:
            return self.stage.at(value, PRESSURE_SP)
        return np.full(len(value), self._usual["pressure"])

    def _signs(self, value: Floats) -> tuple[Floats, Floats]:
        """Contact pressure as a share of what is wanted, and speed of its set-point; NaN: not cutting."""
        at = self.stage.at
        speed = at(value, SPEED)
        wanted_speed = at(value, SPEED_SP) if SPEED_SP in self.stage.column else speed
        cutting = (speed > _CUTS) & (speed > _NEAR_SPEED * wanted_speed)
        wanted = self._wanted(value)
        share = np.where(wanted > 0, at(value, PRESSURE) / np.where(wanted > 0, wanted, 1.0), np.nan)
        return share, np.where(cutting, 1.0, np.where(np.isnan(speed), np.nan, 0.0))

    def near(self, value: Floats) -> bool:
        """Whether it is too low at all."""
        wanted = value[:, self._set] if self._set >= 0 else self._usual["pressure"]
        if not bool((value[:, self._column] < self.values["pressure_share"] * wanted).any()):
            return False
        share, cutting = self._signs(value)
        return bool(((share < self.values["pressure_share"]) & (cutting > 0)).any())

    def second(self, time_ns: int, row: Floats) -> bool | None:
        """Pressed too little while cutting."""
        share, cutting = (float(v[0]) for v in self._signs(row[None, :]))
        if isnan(share) or isnan(cutting):
            return None
        band = self.values["dead_band_share"] if self.episode.standing else 0.0
        return cutting > 0 and share < self.values["pressure_share"] + band

    def why_not(self, tens: Tens) -> str | None:
        """Learns what is usual, where no set-point tells."""
        column = self.stage.column[PRESSURE]
        if isnan(tens.mean[column]):
            return "the contact pressure is not known"
        if PRESSURE_SP not in self.stage.column:
            if tens.line.unsettled() is None and not self.episode.standing and not self.episode.waits:
                self._usual.learn((float(tens.mean[column]),))
            if isnan(self._usual["pressure"]):
                return "what is usual is not yet learnt"
        return None

    def begun(self, row: Floats) -> Words:
        """How little it is."""
        bar, wanted = self.at(row, PRESSURE), float(self._wanted(row[None, :])[0])
        sentence = (
            f"The knives are pressed with {bar:.1f} bar where {wanted:.1f} bar are wanted, and they are "
            "turning: "
            "strands may be torn instead of cut and wrap round the knives. Why the pressure fell is not "
            "known."
        )
        figures = {
            "contact pressure": (bar, "bar"),
            "wanted": (wanted, "bar"),
            "knife torque": (self.at(row, TORQUE), "%"),
        }
        return sentence, figures

    def over(self, row: Floats) -> str:
        """Why it is over."""
        if not self.at(row, SPEED) > _CUTS:
            return "The knives no longer turn."
        return f"The knives are pressed with {self.at(row, PRESSURE):.1f} bar again."

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {**super().save(), "usual": self._usual.save()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._usual.restore(state["usual"])
