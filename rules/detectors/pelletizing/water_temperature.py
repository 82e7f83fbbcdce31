"""Whether the process water has its temperature, and what the cooler's valve says to it."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from math import isnan, nan
from typing import Any

from historian.frame import NS
from rules.line import LineFacts
from rules.seen.condition import ConditionRule, Words
from rules.seen.flow import Flow
from rules.seen.stage import Stage, Tens
from rules.seen.usual_values import Usual

SUPPLY, SUPPLY_SP = "water.supply.temp.pv", "water.supply.temp.sp"
RETURN, VALVE = "water.return.temp.pv", "water.cooler.valve.out"
FLOW, FLOW_SP = "water.flow.pv", "water.flow.sp"

_FAR, _WARM, _COLD, _OPEN, _RISE = "far", "warm", "cold", "open", "rise"
_SHORT = 0.9
_ABOVE_K = 0.7  # above what the controller usually leaves
_DRIFTS_K = 0.25  # within five minutes: less is standing still
_LEAPS_K = 0.4  # within ten seconds: no tank of water does; the probe or its place has changed
_TENS = 31  # five minutes


class WaterTemperature(ConditionRule):
    """Rule ``water-temperature``: command against consequence, the cooler's valve against the temperature."""

    RULE = "water-temperature"
    SUBJECT = "water.supply"
    TAGS = (SUPPLY, SUPPLY_SP, RETURN, VALVE, "util.cooling_water.temp.pv", FLOW)

    def __init__(self, facts: LineFacts, stage: Stage) -> None:
        super().__init__(facts, stage)
        self._usual = Usual(("valve", "rise", "over"), least=18)
        self._feed = Flow(stage)
        self._since = dict.fromkeys((_FAR, _WARM, _COLD, _OPEN, _RISE), 0)
        self._deviation: deque[float] = deque(maxlen=_TENS)  # from the set-point, K
        self._kind = _FAR
        self._wanted, self._wanted_ns = nan, 0

    def why_not(self, tens: Tens) -> str | None:
        """Judged in running melt, a while after a changed set-point."""
        self._feed.push(tens)
        wanted = self.last(tens, SUPPLY_SP)
        if abs(wanted - self._wanted) > 0.5:
            self._wanted_ns = tens.time_ns
        self._wanted = self._wanted if isnan(wanted) else wanted
        self._follow(self.value(tens, SUPPLY) - wanted)
        if tens.line.feed_changed_s == 0 and not self.episode.standing:
            self._usual.forget()
        why = self.unsettled(tens, start_s=self.values["start_s"], settle_s=self.values["settle_s"])
        if why is None and self._wanted_ns and tens.time_ns - self._wanted_ns < 1800 * NS:
            return "the set-point of the water was changed"
        return why

    def holds(self, tens: Tens) -> bool | None:
        """One of its signs, for its time."""
        over = self.value(tens, SUPPLY) - self.last(tens, SUPPLY_SP)
        valve = self.value(tens, VALVE)
        rise = self.value(tens, RETURN) - self.value(tens, SUPPLY)
        if isnan(over) and isnan(valve):
            return None
        v, usual = self.values, self._usual
        more = valve - usual["valve"]
        signs = {
            _FAR: (abs(over) > v["far_k"], v["far_s"]),
            _WARM: (over > v["off_k"] and self._drifts_up(over) and more > v["valve_percent"], v["off_s"]),
            _COLD: (over < -v["off_k"] and valve > v["open_percent"], v["off_s"]),
            _OPEN: (valve > v["full_percent"], v["full_s"]),
            _RISE: (rise > v["rise_ratio"] * usual["rise"] and not self._is_short(tens), v["off_s"]),
        }
        for kind, (seen, _) in signs.items():
            self._since[kind] = (self._since[kind] or tens.time_ns) if seen else 0
        if self.episode.standing:
            return self._still(over, valve)
        for kind, (seen, least_s) in signs.items():
            if seen and tens.time_ns - self._since[kind] >= least_s * NS:
                self._kind = kind
                return True
        return False

    @property
    def _change_k(self) -> float:
        """How far the deviation has changed within five minutes; NaN while they are not known."""
        return self._deviation[-1] - self._deviation[0] if len(self._deviation) == _TENS else nan

    def _drifts_up(self, over: float) -> bool:
        return over > self._usual["over"] + _ABOVE_K and self._change_k > _DRIFTS_K / 2

    def _follow(self, over: float) -> None:
        if self._deviation and abs(over - self._deviation[-1]) > _LEAPS_K:
            self._deviation.clear()
            if not self.episode.standing:
                self._usual.forget()
        if not isnan(over):
            self._deviation.append(over)

    def _is_short(self, tens: Tens) -> bool:
        """Whether the flow itself is short: that is the affair of ``water-flow``."""
        return self.value(tens, FLOW) < _SHORT * self.last(tens, FLOW_SP)

    def _still(self, over: float, valve: float) -> bool:
        """Whether what stands is not yet gone, with some room."""
        if self._kind == _RISE:
            return bool(self._since[_RISE])
        if self._kind == _OPEN:
            return valve > self.values["full_percent"] - 10
        return abs(over) > self.values["off_k"] / 2

    def onset_ns(self, tens: Tens) -> int:
        """Since when the sign that convinced has been seen."""
        return self._since[self._kind]

    def learn(self, tens: Tens) -> None:
        """Valve, warming and deviation of sound running."""
        if any(self._since.values()) or self._feed.uneven or self.unsettled(tens) is not None:
            return
        rise = self.value(tens, RETURN) - self.value(tens, SUPPLY)
        over = self.value(tens, SUPPLY) - self.last(tens, SUPPLY_SP)
        if abs(self._change_k) < _DRIFTS_K and not over > self._usual["over"] + _ABOVE_K / 2:
            self._usual.learn((self.value(tens, VALVE), rise, over))

    def begun(self, tens: Tens) -> Words:
        """What does not fit together."""
        supply, wanted = self.value(tens, SUPPLY), self.last(tens, SUPPLY_SP)
        back, valve = self.value(tens, RETURN), self.value(tens, VALVE)
        usual = self._usual
        over = supply - wanted
        off = (
            f"The process water is {supply:.1f} Cel, {abs(over):.1f} K {'above' if over > 0 else 'below'} set"
        )
        sentence = {
            _WARM: f"{off}, though the cooler's valve has opened from {usual['valve']:.0f} to {valve:.0f} %: "
            "the "
            "cooler takes less heat away. Whether it is fouled or its cooling water is short is not known.",
            _COLD: f"{off}, while the cooler's valve is {valve:.0f} % open: the valve does not do what the "
            "temperature asks for. Cold water freezes holes and makes tails.",
            _OPEN: f"The cooler's valve has been {valve:.0f} % open for minutes; the process water is "
            f"{supply:.1f} Cel. The cooler has nothing in reserve.",
            _RISE: f"The process water warms by {back - supply:.1f} K in the cutting chamber, usually by "
            f"{usual['rise']:.1f} K at this feed. Whether less water flows or more heat comes is not known.",
        }.get(self._kind, f"{off}. What is behind it is not known.")
        figures = {
            "supply": (supply, "Cel"),
            "set": (wanted, "Cel"),
            "return": (back, "Cel"),
            "cooler valve": (valve, "%"),
            "usual valve": (usual["valve"], "%"),
        }
        return sentence, figures

    def over(self, tens: Tens) -> str:
        """The temperature now."""
        return f"The process water is {self.value(tens, SUPPLY):.1f} Cel, near its set-point again."

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "usual": self._usual.save(),
            "feed": self._feed.save(),
            "since": dict(self._since),
            "deviation": list(self._deviation),
            "kind": self._kind,
            "wanted": None if isnan(self._wanted) else self._wanted,
            "wanted_ns": self._wanted_ns,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._usual.restore(state["usual"])
        self._feed.restore(state["feed"])
        self._deviation.clear()
        self._deviation.extend(state["deviation"])
        self._since, self._kind = dict(state["since"]), state["kind"]
        self._wanted = nan if state["wanted"] is None else state["wanted"]
        self._wanted_ns = state["wanted_ns"]
