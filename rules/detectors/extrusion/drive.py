"""Whether the screw's drive is overloaded, and whether the screw was started in a cold barrel."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS
from rules.line import LineFacts
from rules.seen.condition import Words
from rules.seen.episode import Episode
from rules.seen.seconds import Floats, SecondsRule
from rules.seen.stage import Stage, Tens
from rules.seen.usual_values import Usual

TORQUE, SPEED = "extruder.drive.torque.pv", "extruder.screw.speed.pv"

_RATED = 100.0

_ZONE = re.compile(r"extruder\.zone\.(\d+)\.temp\.pv")


class DriveOverload(SecondsRule):
    """Rule ``drive-overload``: torque above what the drive may give for long, or far above it at once."""

    RULE = "drive-overload"
    SUBJECT = "extruder.drive"
    TAGS = (TORQUE, "extruder.drive.current.pv", SPEED, "extruder.head.pressure.pv")

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self.episode = Episode(0.0, self.values["clear_s"])  # its delays depend on how high it is
        self._long = Episode(self.values["held_s"], 0.0)
        self._usual = Usual(("torque",))
        self._column = stage.column[TORQUE]

    def near(self, value: Floats) -> bool:
        """Whether it is high at all."""
        return self._long.standing or self._long.waits or bool((value[:, self._column] > self._limit).any())

    @property
    def _limit(self) -> float:
        """A drive that usually runs close to its limit is not overloaded by a little more."""
        usual = self._usual["torque"] + self.values["above_usual_percent"]
        limit = self.values["limit_percent"]
        return max(limit, min(usual, _RATED)) - self._band if usual > limit else limit - self._band

    @property
    def _band(self) -> float:
        band = self.values["dead_band_percent"] if self.episode.standing else 0.0
        return band

    def second(self, time_ns: int, row: Floats) -> bool | None:
        """High for long enough, or very high."""
        torque = float(row[self._column])
        if np.isnan(torque):
            return None
        high = torque > self._limit
        self._long.judge(time_ns, high)
        if self.episode.standing:
            return high
        return self._long.standing or torque > self.values["peak_percent"]

    def onset_ns(self) -> int:
        """Since when it has been high."""
        return self._long.onset_ns if self._long.standing else self.episode.onset_ns

    def begun(self, row: Floats) -> Words:
        """How high it is."""
        torque = self.at(row, TORQUE)
        sentence = (
            f"The drive of the screw gives {torque:.0f} % of its rated torque, above "
            f"{self._limit + self._band:.0f} %. Whether the screw turns in cold material, rubs or is "
            "overfed is not known."
        )
        figures = {
            "torque": (torque, "%"),
            "limit": (self._limit + self._band, "%"),
            "usual torque": (self._usual["torque"], "%"),
            "screw speed": (self.at(row, SPEED), "1/min"),
        }
        return sentence, figures

    def over(self, row: Floats) -> str:
        """That it has fallen."""
        return f"The drive of the screw gives {self.at(row, TORQUE):.0f} % of its rated torque."

    def why_not(self, tens: Tens) -> str | None:
        """Without torque nothing is judged; learns what is usual in settled running."""
        torque = float(tens.mean[self._column])
        if np.isnan(torque):
            return "the torque is not known"
        if tens.line.unsettled() is None and not self.episode.standing and not self._long.waits:
            self._usual.learn((torque,))
        return None

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {**super().save(), "long": self._long.save(), "usual": self._usual.save()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._long.restore(state["long"])
        self._usual.restore(state["usual"])


class ExtruderCold(SecondsRule):
    """Rule ``extruder-cold``: the screw begins to turn while a zone is far below its set-point.

    A zone that cools while the screw has long been turning is the affair of the rules of heaters.
    """

    RULE = "extruder-cold"
    SUBJECT = "extruder.screw"
    TAGS = (SPEED, TORQUE)

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        numbers = sorted(int(m.group(1)) for m in map(_ZONE.fullmatch, stage.column) if m)
        zones = [f"extruder.zone.{n}" for n in numbers if f"extruder.zone.{n}.temp.sp" in stage.column]
        self._zones = zones
        self.tags = (*self.TAGS, *(f"{z}.temp.pv" for z in zones))
        self._temp = [stage.column[f"{z}.temp.pv"] for z in zones]
        self._set = [stage.column[f"{z}.temp.sp"] for z in zones]
        self._since_ns: int | None = None  # since when the screw has turned
        self._speed = stage.column[SPEED]

    def near(self, value: Floats) -> bool:
        """Whether the screw turns while a zone is cold."""
        cold = self._below(value) > self.values["cold_k"]
        turns = value[:, self._speed] > self.values["speed_per_min"]
        return bool(turns.any()) and bool(cold[turns].any())

    def _below(self, value: Floats) -> Floats:
        below: Floats = value[..., self._set] - value[..., self._temp]
        return below

    def passed_over(self, time_ns: NDArray[np.int64], value: Floats) -> None:
        """Since when the screw has turned."""
        if self._since_ns is not None and bool((value[:, self._speed] > self.values["speed_per_min"]).all()):
            return
        stood = np.flatnonzero(value[:, self._speed] <= self.values["speed_per_min"])
        if len(stood):
            self._since_ns = None
        begin = int(stood[-1]) + 1 if len(stood) else 0
        turns = np.flatnonzero(value[begin:, self._speed] > self.values["speed_per_min"])
        if self._since_ns is None and len(turns):
            self._since_ns = int(time_ns[begin + int(turns[0])])

    def second(self, time_ns: int, row: Floats) -> bool | None:
        """The screw turns, has only just begun to, and a zone is cold."""
        speed, below = float(row[self._speed]), self._below(row)
        if np.isnan(speed) or np.isnan(below).all():
            return None
        if speed <= self.values["speed_per_min"]:
            self._since_ns = None
            return False
        self._since_ns = time_ns if self._since_ns is None else self._since_ns
        if self.episode.standing:
            return bool((below > self.values["cold_k"] - self.values["dead_band_k"]).any())
        fresh = time_ns - self._since_ns <= self.values["start_s"] * NS
        return fresh and bool((below > self.values["cold_k"]).any())

    def begun(self, row: Floats) -> Words:
        """Which zone is how cold."""
        below = self._below(row)
        worst = int(np.nanargmax(below))
        number, temp, wanted = (
            self._zones[worst].rsplit(".", 1)[1],
            row[self._temp][worst],
            row[self._set][worst],
        )
        sentence = (
            f"The screw turns at {self.at(row, SPEED):.0f} 1/min while barrel zone {number} reads "
            f"{temp:.0f} Cel, {below[worst]:.0f} K below its set-point: unmolten material can break a screw. "
            "How warm the material in the barrel is, is not known."
        )
        figures = {
            "screw speed": (self.at(row, SPEED), "1/min"),
            "coldest zone": (float(temp), "Cel"),
            "its set-point": (float(wanted), "Cel"),
        }
        return sentence, figures

    def over(self, row: Floats) -> str:
        """Why it is over."""
        if not self.at(row, SPEED) > self.values["speed_per_min"]:
            return "The screw no longer turns."
        return "All barrel zones are near their set-points."

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {**super().save(), "since": self._since_ns}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._since_ns = state["since"]
