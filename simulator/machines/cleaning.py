"""When a melt filter is cleaned: by a pressure held for a time, by the clock, without a pause, by hand."""

from __future__ import annotations

from enum import IntEnum

from simulator.machines.filter_design import FilterDesign
from simulator.machines.upsets import Upsets
from simulator.machines.wiper import Wiper, WiperState


class Trigger(IntEnum):
    """What starts a cleaning; the numbers are those of the tag's code table."""

    NONE = 0
    PRESSURE_DIFFERENCE = 1
    INLET_PRESSURE = 2
    CLOCK = 3
    BY_HAND = 4


class CleaningControl:
    """The control of cleaning with its set-points and timers.

    Attributes:
        wiper: what it commands.
        trigger_mode: which pressure starts a cleaning; CLOCK: none, only ``longest_s``.
        trigger_dp_bar, trigger_inlet_bar, longest_s: set-points; ``longest_s`` holds in every mode.
        locked: whether the line's controls let no cleaning start.
        continuous: whether the wiper turns all the time while melt flows.
        last_trigger: what started the last cleaning.
        wipes: cleanings since the screen change; without a pause, so many turns count as one.
        since_wipe_s, above_s: melt has flown since the last cleaning; a pressure has been above its trigger.
        trigger_unheard: a trigger was due in the last step and nothing came of it (hidden truth).
        wiped_with_rest: a cleaning ended in the last step that left more than it should (hidden truth).
    """

    def __init__(self, design: FilterDesign) -> None:
        self.wiper = Wiper(design.wiper)
        self.trigger_mode = Trigger.PRESSURE_DIFFERENCE
        self.trigger_dp_bar = design.trigger_dp_bar
        self.trigger_inlet_bar = design.trigger_inlet_bar
        self.longest_s = design.longest_s
        self.locked = False
        self.continuous = False
        self.last_trigger = Trigger.NONE
        self.wipes = 0
        self.since_wipe_s = self.above_s = 0.0
        self.trigger_unheard = self.wiped_with_rest = False
        self._held_s = design.trigger_held_s
        self._pause_s = design.pause_s
        self._rest_s = design.pause_s + 1.0
        self._by_hand = self._jog = self._endless = False
        self._turned = 0.0

    def ask_for_wipe(self) -> None:
        """The operator presses the button for one cleaning."""
        self._by_hand = True

    def jog(self) -> None:
        """The operator turns the wiper slowly, once, with the outlet shut."""
        self._jog = True

    def _listen(
        self, dt_s: float, upsets: Upsets, running: bool, inlet_bar: float, difference_bar: float
    ) -> bool:
        """Go on by one step; whether a cleaning starts."""
        self.trigger_unheard = self.wiped_with_rest = False
        if self.wiper.moving:
            if self._endless and not (self.continuous and running):
                self._endless = False
                self.wiper.finish()
            return False
        self._rest_s += dt_s
        rested = self._rest_s > self._pause_s
        self.since_wipe_s = self.since_wipe_s + dt_s if running else 0.0
        if self.trigger_mode is Trigger.INLET_PRESSURE:
            above = inlet_bar > self.trigger_inlet_bar
        else:
            above = self.trigger_mode is Trigger.PRESSURE_DIFFERENCE and difference_bar > self.trigger_dp_bar
        self.above_s = self.above_s + dt_s if running and above and rested else 0.0
        if self.locked:
            self._by_hand = self._jog = False
            return False
        if self._by_hand:
            return self._start(Trigger.BY_HAND)
        if self._jog:
            self._jog = False
            self.wiper.begin(self.wiper.design.jog_revs, WiperState.JOGGING)
            return False
        return rested and self._listen_to_triggers(upsets, running)

    def _listen_to_triggers(self, upsets: Upsets, running: bool) -> bool:
        reason = Trigger.NONE
        if self.continuous and running:
            reason = Trigger.CLOCK
        elif self.above_s >= self._held_s:
            reason = self.trigger_mode
        elif self.since_wipe_s >= self.longest_s:
            reason = Trigger.CLOCK
        if reason is Trigger.NONE:
            return False
        if upsets.trigger_inhibited:
            self.trigger_unheard = True
            return False
        return self._start(reason)

    def _start(self, reason: Trigger) -> bool:
        self._by_hand = False
        self.last_trigger = reason
        self._endless = self.continuous and reason is Trigger.CLOCK
        self.wiper.begin(float("inf") if self._endless else self.wiper.design.revs, WiperState.WIPING)
        self._turned = 0.0
        return True

    def _count(self, turned: float) -> None:
        """The wiper has turned in a cleaning; one without end counts as many."""
        self._turned += turned
        if self._endless and self._turned >= self.wiper.design.revs:
            self._turned -= self.wiper.design.revs
            self.wipes += 1

    def _ended(self, was: WiperState, upsets: Upsets) -> None:
        """The wiper has come to rest."""
        self._rest_s = 0.0
        if was is not WiperState.WIPING:
            return
        self.since_wipe_s = self.above_s = 0.0
        if not self.wiper.failed:
            self.wipes += 1
        rest = upsets.rest_share
        self.wiped_with_rest = rest is not None and rest > self.wiper.design.rest_share
