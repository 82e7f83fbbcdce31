"""What is said of a heated zone: what is seen, and what is not known."""

from __future__ import annotations

from enum import IntEnum

import numpy as np

from rules.detectors.heating.zones import Learner, ZoneGroup, ZoneTens
from rules.words import count

AT_SETPOINT_K = 3.0


class Sign(IntEnum):
    """What shows that a zone lacks power; the numbers stand in saved states."""

    NONE = 0
    NO_CURRENT = 1
    MISSING_RATE = 2  # it ought to warm faster at this output
    NO_EFFECT = 3  # full output, and it does not warm
    SLOW = 4  # warms up far slower than its peers


def began(group: ZoneGroup, zone: int, sign: Sign, tens: ZoneTens, learner: Learner) -> str:
    """The sentence with which a zone's finding begins."""
    name, rate = group.name(zone), learner.rate_k_min[zone]
    asked = f"although the controller asks for {tens.out[zone]:.0f} %"
    seen = ", ".join(s for s in (_below(tens.below_k[zone]), _rate(rate)) if s)
    if sign is Sign.NO_CURRENT:
        what = f"{name} is losing heat: no heater current {asked}" + (f"; {seen}" if seen else "")
    elif sign is Sign.SLOW:
        what = f"{name} warms up far slower than its peers, {seen}, {asked}; {_current(zone, tens, learner)}"
    else:
        what = f"{name} is losing heat: {seen}, {asked}; {_current(zone, tens, learner)}"
    return f"{what}. {_others(group, zone, tens)}"


def ended(group: ZoneGroup, zone: int, sign: Sign, tens: ZoneTens) -> str:
    """The sentence with which it ends."""
    if tens.in_use[zone] < 0.5:
        return f"{group.name(zone)} was taken out of use."
    if sign is Sign.NO_CURRENT:
        return f"{group.name(zone)} draws current again."
    return f"{group.name(zone)} has been back at its set-point for three minutes."


def supply_lost(group: ZoneGroup, asking: int) -> str:
    """The sentence when no zone of a group gets current."""
    return (
        f"None of the {count(asking)} {group.word.lower()}s that ask for heat draws current. "
        "Whether the supply, the main contactor or the current measurement failed is not known."
    )


def _below(below_k: float) -> str:
    return "" if np.isnan(below_k) else f"{below_k:.1f} K below set-point"


def _rate(rate_k_min: float) -> str:
    return "" if np.isnan(rate_k_min) else f"{rate_k_min:+.1f} K/min"


def _current(zone: int, tens: ZoneTens, learner: Learner) -> str:
    current, nominal = tens.current_a[zone], learner.nominal_a[zone]
    if np.isnan(current) or np.isnan(nominal):
        return "no current is measured, so lost heater power and a sagging sensor cannot be told apart"
    if current >= 0.5 * nominal:
        return "current flows, so part of the power is lost or the sensor reads too low"
    return f"only {current:.1f} A flows"


def _others(group: ZoneGroup, zone: int, tens: ZoneTens) -> str:
    """How the other zones in use stand."""
    others = tens.usable & (np.arange(len(tens.usable)) != zone)
    total, holding = int(np.sum(others)), int(np.sum(others & (np.abs(tens.below_k) <= AT_SETPOINT_K)))
    kind = group.word.lower() + "s"
    if total == 0:
        return f"No other {kind} are judged."
    some = "All" if holding == total else f"{count(holding).capitalize()} of the"
    return f"{some} {count(total)} other {kind} in use are at set-point (within {AT_SETPOINT_K:.0f} K)."
