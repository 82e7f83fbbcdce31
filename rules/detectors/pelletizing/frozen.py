"""Whether holes of the die are frozen: the same melt at the same flow needs more pressure.

The pressure that is usual is carried over to the flow and the melt temperature of the moment, so that a start
can be judged by the run before it. A stiffer melt raises the loss in the pipes as well; frozen holes do not.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping
from math import exp, isnan, nan
from typing import Any

from historian.frame import NS
from rules.line import LineFacts
from rules.seen.condition import ConditionRule, Words
from rules.seen.episode import Episode
from rules.seen.flow import Flow
from rules.seen.line import START_S
from rules.seen.stage import Stage, Tens
from rules.seen.tens import TENS_S
from rules.seen.usual_values import Usual, ratio

DIE, OUTLET = "die.pressure.pv", "filter.outlet.pressure.pv"
HEAD, INLET = "extruder.head.pressure.pv", "filter.inlet.pressure.pv"
PUMP = "pump.outlet.pressure.pv"
MELT, MELT_AFTER = "extruder.melt.temp.pv", "filter.outlet.melt_temp.pv"
ZONE = "die.zone.1.temp"

# Pressure goes with a power of the flow, 0.25 to 0.45 for these melts: the less favourable one counts.
_POWER_BELOW, _POWER_ABOVE = 0.25, 0.45
_PER_K = 0.008  # 0.7 to 0.9 % of the pressure for each kelvin. from memory, both lines
_COLDEST_K = 60.0
_BY_MELT = 0.5
_FILLS_S, _FULL_S = 180.0, 240.0  # after melt-on. common practice, no source
_QUARTER = 75  # tens of seconds of learning
_QUARTERS = 5


class DieFrozen(ConditionRule):
    """Rule ``die-frozen``."""

    RULE = "die-frozen"
    SUBJECT = "die"
    TAGS = (
        DIE,
        OUTLET,
        f"{ZONE}.pv",
        f"{ZONE}.sp",
        "doser.rate.pv",
        HEAD,
        INLET,
        "pelletizer.knife.speed.pv",
    )

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._path = OUTLET if OUTLET in stage.column else DIE
        self._melt = MELT_AFTER if MELT_AFTER in stage.column else MELT
        # A pump between screw and filter makes its own pressure: there the pipe after the filter tells.
        self._way = (OUTLET, DIE) if {PUMP, OUTLET, DIE} <= set(stage.column) else (HEAD, INLET)
        # Little is lost on that one: only a minute's mean tells, beside what the ratio was meanwhile.
        self._losses: deque[tuple[float, float]] = deque(maxlen=6 if self._way[0] == OUTLET else 1)
        self._usual = Usual(("die", "flow", "melt", "pipe"))
        self._flow = Flow(stage)
        self._past: deque[tuple[float, float]] = deque(maxlen=_QUARTERS)  # usual pressure and flow
        self._learnt = 0  # tens of seconds since the last of them
        self._ratio = nan
        self._high = 0  # tens of seconds in a row that it has been above
        self.episode = Episode(0.0, self.values["clear_s"])  # how long depends on whether the line starts

    def why_not(self, tens: Tens) -> str | None:
        """Also judged while the line starts, once the first cold melt is through."""
        self._flow.push(tens)
        return self.unsettled(tens, start_s=self.values["start_s"], settle_s=0.0, wipe_s=30.0)

    def holds(self, tens: Tens) -> bool | None:
        """The pressure is above what the flow asks for, and the melt does not explain it."""
        self._ratio = ratio(self.value(tens, self._path), self._expected_bar(tens))
        self._losses.append((self._pipe(tens), self._ratio))
        if isnan(self._ratio):
            return None
        rise, filling = self._limit(tens.line.running_s)
        if self.episode.standing:
            return self._ratio > 1 + self.values["rise_percent"] / 200
        cold = self._is_cold(tens) and self._ratio > 1 + rise / 2
        high = cold or (self._ratio > 1 + rise and not self._is_melt(tens))
        self._high = self._high + 1 if high else 0
        held_s = self.values["start_held_s" if filling else "held_s"]
        return (self._high - 1) * TENS_S >= held_s

    def _limit(self, running_s: float) -> tuple[float, bool]:
        """By how much it may be above, and whether the line still fills.

        While filter and pipes fill, less comes out than goes in, and the pressure of a sound die stays below;
        then, until all is warm, it may stand a little above.
        """
        v = self.values
        if running_s >= START_S:
            return v["rise_percent"] / 100, False
        share = min(max((running_s - _FILLS_S) / (_FULL_S - _FILLS_S), 0.0), 1.0)
        low, high = v["start_rise_percent"], v["warm_rise_percent"]
        return (low + (high - low) * share) / 100, share < 1

    def _expected_bar(self, tens: Tens) -> float:
        usual = self._usual
        flow = ratio(self._flow.kg_h, usual["flow"])
        if isnan(flow):
            flow = 1.0 if self.unsettled(tens) is None else nan
        if not flow > 0.3:
            return nan
        power = _POWER_BELOW if flow < 1 else _POWER_ABOVE
        colder_k = usual["melt"] - self.value(tens, self._melt)
        colder_k = 0.0 if isnan(colder_k) else colder_k
        # Melt that has stood in a hot filter comes warm and cools on its way: only a colder one counts.
        return float(self._level * flow**power * exp(_PER_K * min(max(colder_k, 0.0), _COLDEST_K)))

    @property
    def _level(self) -> float:
        """The usual pressure at the usual flow: the highest of the last hour, carried over to that flow.

        A spell of thin or foaming melt must not make sound melt look like a frozen die.
        """
        now, flow = self._usual["die"], self._usual["flow"]
        past = [
            die * (flow / then) ** _POWER_BELOW if then > 0 and flow > 0 else die for die, then in self._past
        ]
        return max([now, *past]) if not isnan(now) else nan

    def _is_melt(self, tens: Tens) -> bool:
        """Whether the loss in the pipe rose as well, at a flow that is as usual."""
        pipe = ratio(self._lost_bar, self._usual["pipe"])
        risen = _mean(r for _, r in self._losses) - 1
        return pipe > 1 + _BY_MELT * risen and not tens.line.running_s < 600

    def _is_cold(self, tens: Tens) -> bool:
        below = self.last(tens, f"{ZONE}.sp") - self.value(tens, f"{ZONE}.pv")
        return below > self.values["cold_k"]

    def _pipe(self, tens: Tens) -> float:
        up, down = self._way
        return self.value(tens, up) - self.value(tens, down)

    @property
    def _lost_bar(self) -> float:
        loss = _mean(loss for loss, _ in self._losses)
        return loss if loss > 1.0 else nan

    def onset_ns(self, tens: Tens) -> int:
        """Since when it has been above."""
        return tens.time_ns - int((self._high - 1) * TENS_S) * NS

    def learn(self, tens: Tens) -> None:
        """Pressure, flow, melt temperature and loss in the pipe of sound, settled running."""
        if self.unsettled(tens, wipe_s=30.0) is not None or self._high or self._flow.uneven:
            return
        path, melt = self.value(tens, self._path), self.value(tens, self._melt)
        self._usual.learn((path, self._flow.kg_h, melt, self._lost_bar))
        self._learnt += 1
        if self._learnt >= _QUARTER and not isnan(self._usual["die"]):
            flow = self._usual["flow"]
            self._past.append((self._usual["die"], 0.0 if isnan(flow) else flow))
            self._learnt = 0

    def begun(self, tens: Tens) -> Words:
        """How much too high it is, and the die's temperature."""
        bar, expected = self.value(tens, self._path), self._expected_bar(tens)
        zone, wanted = self.value(tens, f"{ZONE}.pv"), self.last(tens, f"{ZONE}.sp")
        die = f" The die reads {zone:.0f} Cel, {wanted:.0f} Cel are set." if self._is_cold(tens) else ""
        sentence = (
            f"The pressure before the die is {bar:.0f} bar where {expected:.0f} bar are usual at this flow, "
            "and "
            f"the melt does not explain it: holes of the die may be frozen or blocked.{die} How many is not "
            "known; the pellets' length shows it."
        )
        figures = {
            "pressure": (bar, "bar"),
            "usual at this flow": (expected, "bar"),
            "flow": (self._flow.kg_h, "kg/h"),
            "die": (zone, "Cel"),
            "die, set": (wanted, "Cel"),
        }
        return sentence, figures

    def over(self, tens: Tens) -> str:
        """That it is as usual again."""
        return (
            f"The pressure before the die is {self.value(tens, self._path):.0f} bar, as usual at this flow."
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "usual": self._usual.save(),
            "flow": self._flow.save(),
            "past": [list(p) for p in self._past],
            "learnt": self._learnt,
            "high": self._high,
            "losses": [[None if isnan(v) else v for v in pair] for pair in self._losses],
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._usual.restore(state["usual"])
        self._flow.restore(state["flow"])
        self._past.clear()
        self._past.extend((p[0], p[1]) for p in state["past"])
        self._learnt, self._high = state["learnt"], state["high"]
        self._losses.clear()
        self._losses.extend((nan if v is None else v, nan if r is None else r) for v, r in state["losses"])


def _mean(values: Iterable[float]) -> float:
    known = [v for v in values if not isnan(v)]
    return sum(known) / len(known) if known else nan
