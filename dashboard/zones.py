"""Which heated zones are farthest from their set-points."""

from __future__ import annotations

import re
from dataclasses import dataclass

from dashboard.now import Now
from dashboard.words import joined, number_text, place_text

_ZONE = re.compile(r"^(filter\.plate\.\d+|(extruder|die)\.zone\.\d+|filter\.discharge)\.temp\.pv$")


@dataclass(frozen=True, slots=True)
class Deviation:
    """One zone's distance from its set-point, in K, with both temperatures."""

    zone: str
    deviation_k: float
    temp_cel: float
    setpoint_cel: float


@dataclass(frozen=True, slots=True)
class Zones:
    """All heated zones at one moment.

    Attributes:
        ranked: the known ones in use, farthest first.
        silent: zones whose temperature or set-point is not known now.
        taken_out: plates that the operator took out.
    """

    ranked: tuple[Deviation, ...]
    silent: tuple[str, ...]
    taken_out: tuple[str, ...]


def zones_of(now: Now) -> Zones:
    """Every zone that has a temperature and a set-point, farthest from it first."""
    ranked: list[Deviation] = []
    silent: list[str] = []
    out: list[str] = []
    for path in sorted(now.tags):
        if not _ZONE.match(path):
            continue
        zone = path.removesuffix(".temp.pv")
        if now.value(f"{zone}.enabled.state") == 0:
            out.append(zone)
            continue
        temp, setpoint = now.of(path), now.of(f"{zone}.temp.sp")
        if temp.known and setpoint.known:
            ranked.append(Deviation(zone, temp.value - setpoint.value, temp.value, setpoint.value))
        elif f"{zone}.temp.sp" in now.tags:
            silent.append(zone)
    ranked.sort(key=lambda d: -abs(d.deviation_k))
    return Zones(tuple(ranked), tuple(silent), tuple(out))


def zones_sentence(zones: Zones) -> str:
    """One line on the worst two zones and the rest of them."""
    parts = [
        f"{place_text(d.zone)} {number_text(d.deviation_k, 'K', signed=True)} K "
        f"({number_text(d.temp_cel, 'Cel')} of {number_text(d.setpoint_cel, 'Cel')} °C)"
        for d in zones.ranked[:2]
    ]
    if len(zones.ranked) > 2:
        rest = max(abs(d.deviation_k) for d in zones.ranked[2:])
        parts.append(f"others within {number_text(rest, 'K')} K")
    if zones.taken_out:
        parts.append(f"taken out: {joined([place_text(z) for z in zones.taken_out])}")
    if zones.silent:
        shown = [place_text(z) for z in zones.silent[:3]]
        more = len(zones.silent) - len(shown)
        parts.append(f"no data: {joined([*shown, f'{more} more'] if more else shown)}")
    return " · ".join(parts) if parts else "No heated zone is measured on this line."
