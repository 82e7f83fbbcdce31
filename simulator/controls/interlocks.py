"""What stops a running line, after which time, and what the operator reads of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from simulator.controls.design import ControlDesign
from simulator.controls.permissives import water_flows
from simulator.controls.view import LineView

# What is wrong, in figures; empty: nothing.
Wrong = Callable[[LineView, ControlDesign], str]


@dataclass(frozen=True, slots=True)
class Trip:
    """One way in which the line stops itself.

    Attributes:
        key: which.
        delay_s: how long it must be wrong without a break.
        wrong: when it is.
        holds_feed: the feed stops at once, before the trip, and comes again if all is well in time.
    """

    key: str
    delay_s: float
    wrong: Wrong
    holds_feed: bool = False


def trips_of(design: ControlDesign) -> tuple[Trip, ...]:
    """Every trip of the line."""
    return (
        Trip("head pressure", 0.0, _head),
        Trip("motor overload", design.overload_s, _overload),
        Trip("motor overload, long", design.long_overload_s, _long_overload),
        Trip("pelletizer", design.pelletizer_s, _pelletizer, holds_feed=True),
        Trip("pump inlet high", design.pump_high_s, _pump_high),
    )


def pump_low_of(design: ControlDesign) -> Trip:
    """The trip of a melt pump that runs dry; it counts only once the pump has been filled."""
    return Trip("pump inlet low", design.pump_low_s, _pump_low)


def _head(view: LineView, design: ControlDesign) -> str:
    # Written so that a sensor without a value trips too.
    if view.trip_bypassed or view.head_bar <= design.head_trip_bar:
        return ""
    return f"{view.head_bar:.0f} bar at the screw tip, limit {design.head_trip_bar:.0f}"


def _overload(view: LineView, design: ControlDesign) -> str:
    return _torque_above(view, design.overload_percent)


def _long_overload(view: LineView, design: ControlDesign) -> str:
    return _torque_above(view, design.long_overload_percent)


def _torque_above(view: LineView, limit_percent: float) -> str:
    torque = view.torque_percent
    return "" if torque <= limit_percent else f"torque {torque:.0f} %, limit {limit_percent:.0f}"


def _pelletizer(view: LineView, design: ControlDesign) -> str:
    if not view.melt_flows or view.purging:
        return ""
    if not view.chamber_closed:
        return "cutting chamber open"
    if not view.knives_min >= design.cutting_from_min:
        return f"knives at {view.knives_min:.0f} /min"
    if not water_flows(view, design):
        return f"water {view.water_m3_h:.1f} of {view.water_setpoint_m3_h:.1f} m3/h"
    return ""


def _pump_high(view: LineView, design: ControlDesign) -> str:
    bar = view.pump_inlet_bar
    if bar is None or bar <= design.pump_high_bar:
        return ""
    return f"{bar:.0f} bar before the melt pump, limit {design.pump_high_bar:.0f}"


def _pump_low(view: LineView, design: ControlDesign) -> str:
    bar = view.pump_inlet_bar
    if bar is None or bar >= design.pump_low_bar:
        return ""
    return f"{bar:.0f} bar before the melt pump, at least {design.pump_low_bar:.0f}"


class Watchdog:
    """The trips with their timers and what has latched.

    Attributes:
        latched: trip → what it was, until somebody resets it.
        holding: what holds the feed now; empty: nothing.
    """

    def __init__(self, design: ControlDesign) -> None:
        self._design = design
        self._trips = trips_of(design)
        self._pump_low = pump_low_of(design)
        self._wrong_s: dict[str, float] = {}
        self._pump_filled = False
        self.latched: dict[str, str] = {}
        self.holding = ""

    def step(self, dt_s: float, view: LineView) -> list[str]:
        """Go on by one step of a running screw.

        Returns:
            keys of what has tripped in this step.
        """
        design = self._design
        self.holding = ""
        new = [trip.key for trip in self._trips if self._trips_now(trip, dt_s, view)]
        bar = view.pump_inlet_bar
        if bar is not None:
            self._pump_filled |= bar > 2.0 * design.pump_low_bar
            if self._pump_filled and self._trips_now(self._pump_low, dt_s, view):
                new.append(self._pump_low.key)
        return new

    def _trips_now(self, trip: Trip, dt_s: float, view: LineView) -> bool:
        wrong = trip.wrong(view, self._design)
        if not wrong:
            self._wrong_s[trip.key] = 0.0
            return False
        if trip.holds_feed:
            self.holding = wrong
        lasted_s = self._wrong_s.get(trip.key, 0.0) + dt_s
        self._wrong_s[trip.key] = lasted_s
        if lasted_s < trip.delay_s - 1e-9 or trip.key in self.latched:
            return False
        self.latched[trip.key] = wrong
        return True

    def rest(self) -> None:
        """The screw stands: nothing can trip, and the pump may run empty."""
        self._wrong_s.clear()
        self._pump_filled = False
        self.holding = ""

    def latch(self, key: str, text: str) -> None:
        """Something that another part has found out."""
        self.latched[key] = text

    def still_wrong(self, key: str, view: LineView) -> str:
        """What of a latched trip is still there, in figures; then it cannot be reset."""
        for trip in self._trips:
            if trip.key == key and key in _STAY:
                return trip.wrong(view, self._design)
        return ""


# What a standing screw does not put right by itself.
_STAY = ("head pressure", "pump inlet high")
