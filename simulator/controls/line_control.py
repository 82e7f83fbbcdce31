"""The controls between the operator's wish and the drives: permissives, interlocks, stops in order.

They see what the sensors show, not what is. Trips stay until the operator resets them.
"""

from __future__ import annotations

from typing import Literal

from simulator.controls.design import ControlDesign
from simulator.controls.interlocks import Watchdog
from simulator.controls.permissives import PERMISSIVES, SoakClock, missing_for_screw, missing_for_wiper
from simulator.controls.view import Commands, LineView, Message

Drive = Literal["heating", "screw", "water", "knives"]

_WIPER_PARKED, _WIPER_FAULT = 0, 3
WIPER_DRIVE = "wiper drive"
_TURNS_MIN = 1.0


class LineControl:
    """The line's controls with their state.

    Attributes:
        commands: what they tell the drives.
        soak: the clock of the soak.
        overridden: permissives that the operator's key has put out of force.
        messages: what they have said and nobody has taken yet.
    """

    def __init__(self, design: ControlDesign | None = None) -> None:
        self.design = design or ControlDesign()
        self.commands = Commands()
        self.soak = SoakClock(self.design)
        self.overridden: set[str] = set()
        self.messages: list[Message] = []
        self._watchdog = Watchdog(self.design)
        self._asked: list[str] = []
        self._heat = self._water = self._knives = self._screw = False
        self._stops_in_s: float | None = None
        self._no_melt_s = self.design.knives_after_s
        self._wiper_before = _WIPER_PARKED
        self._wiper_failed = 0
        self._held = ""
        self._now_s = 0.0

    @property
    def trips(self) -> dict[str, str]:
        """What has latched: trip → what it was."""
        return self._watchdog.latched

    # ---- what people do -----------------------------------------------------------------------------------

    def order(self, drive: Drive, on: bool) -> None:
        """The operator switches something; the next step decides on it."""
        self._asked.append(f"{drive} {'on' if on else 'off'}")

    def wipe(self) -> None:
        """The operator asks for one cleaning."""
        self._asked.append("wipe")

    def jog(self) -> None:
        """The operator turns the wiper slowly."""
        self._asked.append("jog")

    def reset(self) -> None:
        """The operator acknowledges all trips."""
        self._asked.append("reset")

    def override(self, key: str, on: bool) -> None:
        """The operator turns the key of a permissive, one of ``PERMISSIVES``."""
        self._asked.append(f"override {'on' if on else 'off'} {key}")

    def take_messages(self) -> list[Message]:
        """What was said since the last time."""
        said, self.messages = self.messages, []
        return said

    # ---- time ---------------------------------------------------------------------------------------------

    def step(self, dt_s: float, now_s: float, view: LineView) -> Commands:
        """Go on by one step.

        Args:
            dt_s: length of the step.
            now_s: time at its end, for the messages.
            view: the line as its sensors show it.
        """
        self._now_s = now_s
        self.soak.step(dt_s, view)
        commands = self.commands
        commands.wipe = commands.jog = False
        if self._screw:
            self._guard(dt_s, view)
        self._mind_wiper(view)
        if self._asked:
            asked, self._asked = self._asked, []
            for what in asked:
                self._do(what, view)
        self._stop_in_order(dt_s)
        self._no_melt_s = 0.0 if view.melt_flows else self._no_melt_s + dt_s
        self._give(view)
        return commands

    def _guard(self, dt_s: float, view: LineView) -> None:
        watchdog = self._watchdog
        for key in watchdog.step(dt_s, view):
            self._say("tripped", key, f"screw and feed stopped: {key}, {watchdog.latched[key]}")
            self._stop()
        if watchdog.holding and not self._held and self._screw:
            self._say("held", "pelletizer", f"feed held: {watchdog.holding}")
        self._held = watchdog.holding

    def _mind_wiper(self, view: LineView) -> None:
        """Count cleanings that failed one after the other; too many are a fault of the drive."""
        state = view.wiper_state
        if state == self._wiper_before:
            return
        before, self._wiper_before = self._wiper_before, state
        if state == _WIPER_PARKED and before != _WIPER_FAULT:
            self._wiper_failed = 0
        elif state == _WIPER_FAULT:
            self._wiper_failed += 1
            if self._wiper_failed > self.design.wiper_retries and WIPER_DRIVE not in self.trips:
                text = f"{self._wiper_failed} cleanings failed, at {view.wiper_angle_deg:.0f} deg"
                self._watchdog.latch(WIPER_DRIVE, text)
                self._say("tripped", WIPER_DRIVE, f"wiper stopped: {text}")

    def _do(self, what: str, view: LineView) -> None:
        match what.split():
            case ["screw", "on"]:
                self._start(view)
            case ["screw", "off"] if self._screw and self._stops_in_s is None:
                self._stops_in_s = self.design.run_out_s
                self._say("stopped", "feed", "feed stopped on the operator's word, the screw runs out")
            case ["heating", switch]:
                self._heat = switch == "on"
            case ["water", switch]:
                self._water = switch == "on"
            case ["knives", switch]:
                self._knives = switch == "on"
            case ["wipe" | "jog" as how]:
                self._turn_wiper(how, view)
            case ["reset"]:
                self._reset(view)
            case ["override", switch, key] if key in PERMISSIVES:
                self._turn_key(key, switch == "on")

    def _start(self, view: LineView) -> None:
        if self._screw and self._stops_in_s is None:
            return
        stopping = [key for key in self.trips if key != WIPER_DRIVE]
        missing = [f"trip '{key}' stands ({self.trips[key]}), reset it" for key in stopping]
        missing += missing_for_screw(view, self.design, self.soak, self.overridden).values()
        if missing:
            self._say("refused", "screw", f"screw not started: {'; '.join(missing)}")
            return
        self._screw, self._stops_in_s = True, None
        note = f", override of {', '.join(sorted(self.overridden))}" if self.overridden else ""
        self._say("started", "screw", f"screw started, soak {self.soak.seconds / 60.0:.1f} min{note}")

    def _turn_wiper(self, how: str, view: LineView) -> None:
        if WIPER_DRIVE in self.trips:
            self._say(
                "refused", "wiper", f"wiper not started: drive fault ({self.trips[WIPER_DRIVE]}), reset it"
            )
            return
        if not self._screw:
            missing = missing_for_wiper(view, self.design, self.soak, self.overridden)
            if missing:
                self._say("refused", "wiper", f"wiper not started: {'; '.join(missing.values())}")
                return
        self.commands.wipe, self.commands.jog = how == "wipe", how == "jog"

    def _reset(self, view: LineView) -> None:
        for key in list(self.trips):
            wrong = self._watchdog.still_wrong(key, view)
            if wrong:
                self._say("refused", key, f"trip '{key}' not reset: {wrong}")
                continue
            del self.trips[key]
            if key == WIPER_DRIVE:
                self._wiper_failed = 0
            self._say("reset", key, f"trip '{key}' reset")

    def _turn_key(self, key: str, on: bool) -> None:
        if on:
            self.overridden.add(key)
        else:
            self.overridden.discard(key)
        self._say("override", key, f"permissive '{key}' {'overridden by key' if on else 'in force again'}")

    def _stop_in_order(self, dt_s: float) -> None:
        """A stop that the operator asked for: the feed at once, the screw when it has run out."""
        if self._stops_in_s is None:
            return
        self._stops_in_s -= dt_s
        if self._stops_in_s <= 1e-9:
            self._say("stopped", "screw", "screw stopped on the operator's word")
            self._stop()

    def _stop(self) -> None:
        self._screw, self._stops_in_s, self._held = False, None, ""
        self._watchdog.rest()

    def _give(self, view: LineView) -> None:
        commands = self.commands
        commands.heat_on, commands.water_on = self._heat, self._water
        commands.screw_on = self._screw
        turns = self._screw and view.screw_min > _TURNS_MIN
        commands.feed_on = turns and self._stops_in_s is None and not self._watchdog.holding
        melt = self._screw or self._no_melt_s < self.design.knives_after_s
        commands.knives_on = self._knives and melt
        commands.pump_on = view.pump_inlet_bar is not None and self._screw
        commands.wiper_on = WIPER_DRIVE not in self.trips

    def _say(self, kind: str, key: str, text: str) -> None:
        self.messages.append(Message(self._now_s, kind, key, text))
