"""The seven figures that are read from three metres."""

from __future__ import annotations

from dashboard.cleaning_watch import DP, INLET, OUTLET, CleaningWatch
from dashboard.now import Believed, Now
from dashboard.views import Reading, Trust
from dashboard.words import countdown_text, number_text, place_text, quantity_text, unit_text
from dashboard.zones import Zones
from historian.frame import NS
from rules.line import LineFacts

FEED, FEED_SP = "doser.rate.pv", "doser.rate.sp"
MELT, TORQUE, SPEED = "extruder.melt.temp.pv", "extruder.drive.torque.pv", "extruder.screw.speed.pv"

NOT_PROOF_BAR = 2.0
"""A melt pressure that reads less than this gets the words that it proves nothing."""

NOT_PROOF = "not proof; trapped pressure possible"


def readings(now: Now, watch: CleaningWatch, facts: LineFacts, zones: Zones) -> tuple[Reading, ...]:
    """The seven figures, in flow order."""
    return (
        _single("throughput", "Throughput", now.of(FEED), "kg/h", _asked(now)),
        _pressures(now),
        _difference(now, facts),
        _single("melt", "Melt temperature", now.of(MELT), "Cel", "at the screw tip"),
        _single("torque", "Torque", now.of(TORQUE), "%", _speed(now)),
        _cleaning(now, watch, facts),
        _worst_zone(zones),
    )


def dp_now(now: Now) -> Believed:
    """The pressure difference: as the line delivers it, else from the two pressures."""
    delivered = now.of(DP)
    if delivered.trust is not Trust.ABSENT:
        return delivered
    inlet, outlet = now.of(INLET), now.of(OUTLET)
    if inlet.trust is Trust.ABSENT or outlet.trust is Trust.ABSENT:
        return delivered
    if not (inlet.known and outlet.known):
        return inlet if not inlet.known else outlet
    if abs(inlet.time_ns - outlet.time_ns) > 2 * NS:
        return Believed(
            inlet.value - outlet.value, Trust.UNCERTAIN, "the two pressures are not of one second"
        )
    doubted = inlet if inlet.trust is Trust.UNCERTAIN else outlet
    return Believed(inlet.value - outlet.value, doubted.trust, doubted.why, inlet.time_ns)


def _single(
    key: str, title: str, seen: Believed, unit: str, note: str = "", *, signed: bool = False
) -> Reading:
    text = number_text(seen.value, unit, signed=signed) if seen.known else ""
    return Reading(key, title, text, unit_text(unit), note if seen.known else "", seen.trust, seen.why)


def _asked(now: Now) -> str:
    setpoint = now.of(FEED_SP)
    return f"asked for {quantity_text(setpoint.value, 'kg/h')}" if setpoint.known else ""


def _speed(now: Now) -> str:
    speed = now.of(SPEED)
    return f"screw {number_text(speed.value, '/min')} 1/min" if speed.known else ""


def _pressures(now: Now) -> Reading:
    title = "Melt pressure before | after"
    inlet, outlet = now.of(INLET), now.of(OUTLET)
    if inlet.trust is Trust.ABSENT and outlet.trust is Trust.ABSENT:
        return Reading("pressures", title, "", "bar", "", Trust.ABSENT, inlet.why)
    if not inlet.known and not outlet.known:
        return Reading("pressures", title, "", "bar", "", Trust.LOST, inlet.why)
    text = f"{_whole(inlet)} | {_whole(outlet)}"
    why = "; ".join(
        f"{place}: {seen.why}" for place, seen in (("before", inlet), ("after", outlet)) if seen.why
    )
    trust = max(
        (inlet.trust, outlet.trust), key=(Trust.LIVE, Trust.UNCERTAIN, Trust.ABSENT, Trust.LOST).index
    )
    low = any(seen.known and seen.value < NOT_PROOF_BAR for seen in (inlet, outlet))
    return Reading("pressures", title, text, "bar", NOT_PROOF if low else "of the screen", trust, why)


def _whole(seen: Believed) -> str:
    return number_text(round(seen.value), "%") if seen.known else "–"


def _difference(now: Now, facts: LineFacts) -> Reading:
    seen = dp_now(now)
    trigger = facts.melt_filter.trigger_dp_bar if facts.melt_filter else None
    note = ""
    if seen.known and trigger is not None:
        left = trigger - seen.value
        note = (
            f"{quantity_text(left, 'bar')} to the trigger"
            if left >= 0
            else f"{quantity_text(-left, 'bar')} over the trigger"
        )
    return _single("dp", "Pressure difference", seen, "bar", note)


_BECAUSE = {"load": "by the load", "habit": "as the last ones", "clock": "by the clock"}


def _cleaning(now: Now, watch: CleaningWatch, facts: LineFacts) -> Reading:
    """The time to the next cleaning where it can be told, else the time since the last one."""
    wiper = now.of("filter.wiper.state")
    title = "Next cleaning in about"
    if wiper.trust in (Trust.LOST, Trust.ABSENT):
        return Reading("cleaning", title, "", "", "", wiper.trust, wiper.why)
    at_ns = now.source_time_ns
    if watch.wiping_since_ns is not None:
        since = countdown_text((at_ns - watch.wiping_since_ns) / NS)
        return Reading("cleaning", "The wiper cleans", since, "min:s", "since it began")
    if dp_now(now).known and (due := watch.due(facts.melt_filter, at_ns)) is not None:
        note = f"estimate, {_BECAUSE[due.because]}"
        return Reading("cleaning", title, countdown_text(due.after_s), "min:s", note)
    if watch.last_end_ns is None:
        return Reading("cleaning", title, "–", "", "no cleaning seen in 3 h")
    since = countdown_text((at_ns - watch.last_end_ns) / NS)
    return Reading("cleaning", "Since the last cleaning", since, "min:s", "the next one cannot be told")


def _worst_zone(zones: Zones) -> Reading:
    title = "Worst zone, off set-point"
    if zones.ranked:
        worst = zones.ranked[0]
        silent = f" · {len(zones.silent)} without data" if zones.silent else ""
        text = number_text(worst.deviation_k, "K", signed=True)
        return Reading("zone", title, text, "K", f"{place_text(worst.zone)}{silent}")
    if zones.silent:
        return Reading("zone", title, "", "K", "", Trust.LOST, f"no data from {len(zones.silent)} zones")
    return Reading("zone", title, "", "K", "", Trust.ABSENT, "not measured on this line")
