"""How numbers, units, ages and times are written for a person: few digits, a unit, the site's clock."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import lru_cache
from math import isnan
from zoneinfo import ZoneInfo

from historian.frame import NS

MINUS = "−"

_UNITS = {
    "Cel": "°C",
    "/min": "1/min",
    "deg": "°",
    "m3/h": "m³/h",
    "kW.h": "kWh",
    "kW.h/kg": "kWh/kg",
    "1": "",
}
_DECIMALS = {"kg/h": 0, "Cel": 0, "%": 0, "/min": 0, "A": 1, "kW": 0, "K": 1, "1": 0, "deg": 0, "mbar": 0}


def unit_text(unit: str) -> str:
    """The unit as it is printed; UCUM codes that read oddly get their usual sign.

    Example:
        >>> unit_text("Cel"), unit_text("bar")
        ('°C', 'bar')
    """
    return _UNITS.get(unit, unit)


def number_text(value: float, unit: str, *, signed: bool = False) -> str:
    """A value with as many digits as the quantity deserves, without its unit; a dash where there is none.

    Example:
        >>> number_text(87.64, "bar"), number_text(112.4, "bar"), number_text(-3.21, "K", signed=True)
        ('87.6', '112', '−3.2')
    """
    if isnan(value):
        return "–"
    decimals = _DECIMALS.get(unit, 1 if abs(value) < 99.95 else 0)
    rounded = round(value, decimals)
    sign = MINUS if rounded < 0 else "+" if signed and rounded > 0 else ""
    return f"{sign}{abs(rounded):.{decimals}f}"


def quantity_text(value: float, unit: str, *, signed: bool = False) -> str:
    """A value with its unit.

    Example:
        >>> quantity_text(640.2, "kg/h")
        '640 kg/h'
    """
    return f"{number_text(value, unit, signed=signed)} {unit_text(unit)}".strip()


def duration_text(seconds: float) -> str:
    """A stretch of time, as coarse as a person would say it.

    Example:
        >>> duration_text(4), duration_text(52), duration_text(200), duration_text(7500)
        ('4 s', '50 s', '3 min', '2 h 5 min')
    """
    seconds = max(0.0, seconds)
    if seconds < 20:
        return f"{seconds:.0f} s"
    if seconds < 95:
        return f"{round(seconds / 10) * 10:.0f} s"
    minutes = round(seconds / 60)
    if minutes < 100:
        return f"{minutes} min"
    hours, rest = divmod(minutes, 60)
    if hours >= 48:
        return f"{hours // 24} d {hours % 24} h"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def countdown_text(seconds: float) -> str:
    """A stretch of time as minutes and seconds, for a figure that is watched.

    Example:
        >>> countdown_text(52.4), countdown_text(245)
        ('0:52', '4:05')
    """
    whole = max(0, int(seconds))
    if whole >= 3600:
        return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
    return f"{whole // 60}:{whole % 60:02d}"


@lru_cache(maxsize=16)
def zone_of(name: str) -> ZoneInfo:
    """The IANA zone of that name."""
    return ZoneInfo(name)


def local_time(time_ns: int, zone: str) -> datetime:
    """The site's wall clock at that time (to the microsecond)."""
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    return (epoch + timedelta(microseconds=time_ns // 1000)).astimezone(zone_of(zone))


def clock_text(time_ns: int, zone: str, *, now_ns: int | None = None, seconds: bool = True) -> str:
    """The site's clock; with the date where it is not the day of ``now_ns``.

    Example:
        >>> clock_text(1_764_064_931_000_000_000, "Europe/Madrid")
        '11:02:11'
    """
    local = local_time(time_ns, zone)
    text = local.strftime("%H:%M:%S" if seconds else "%H:%M")
    if now_ns is not None and local.date() != local_time(now_ns, zone).date():
        return f"{local.day} {local.strftime('%b')} {text}"
    return text


def offset_ms(time_ns: int, zone: str) -> int:
    """How far the site's clock is ahead of UTC at that time, milliseconds."""
    offset = local_time(time_ns, zone).utcoffset()
    return 0 if offset is None else int(offset.total_seconds() * 1000)


def offset_text(offset: int) -> str:
    """An offset in milliseconds as people write it.

    Example:
        >>> offset_text(7_200_000), offset_text(-12_600_000)
        ('UTC+2', 'UTC−3:30')
    """
    minutes = abs(offset) // 60_000
    sign = MINUS if offset < 0 else "+"
    return f"UTC{sign}{minutes // 60}" + (f":{minutes % 60:02d}" if minutes % 60 else "")


def age_s(now_ns: int, then_ns: int) -> float:
    """Seconds since then."""
    return (now_ns - then_ns) / NS


def joined(parts: list[str]) -> str:
    """A list as a person says it.

    Example:
        >>> joined(["plate 3", "plate 5", "zone 2"])
        'plate 3, plate 5 and zone 2'
    """
    if len(parts) < 2:
        return "".join(parts)
    return ", ".join(parts[:-1]) + " and " + parts[-1]


def place_text(subject: str) -> str:
    """What a path is about, as a person says it.

    Example:
        >>> place_text("filter.plate.5"), place_text("extruder.zone.2.temp.pv"), place_text("filter.wiper")
        ('plate 5', 'barrel zone 2', 'wiper')
    """
    parts = subject.split(".")
    if "plate" in parts[:2] and len(parts) > 2:
        return f"plate {parts[2]}"
    if len(parts) > 2 and parts[1] == "zone":
        return {"extruder": "barrel zone", "die": "die zone"}.get(
            parts[0], f"{parts[0]} zone"
        ) + f" {parts[2]}"
    if parts[:2] == ["filter", "discharge"]:
        return "discharge block"
    if len(parts) > 1 and parts[-1] not in {"pv", "sp", "out", "calc", "state", "total", "i"}:
        return parts[-1].replace("_", " ")
    return parts[0] if len(parts) == 1 else " ".join(parts[:-1]).replace("_", " ")
