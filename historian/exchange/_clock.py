"""Reads time stamps and turns local time into UTC, the hour that the clock passes twice included.

Everything is whole nanoseconds: a stamp never passes through a floating-point number.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from historian.errors import WrongInput
from historian.frame import NS

Times = NDArray[np.int64]
Flags = NDArray[np.bool_]

_EPOCH_DAY = date(1970, 1, 1).toordinal()
_MINUTE_NS = 60 * NS
_HALF_DAY_NS = 43_200 * NS
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_PARTS: Final = {
    "Y": r"(?P<Y>\d{4})",
    "y": r"(?P<y>\d{2})",
    "m": r"(?P<m>\d{1,2})",
    "b": r"(?P<b>[A-Za-z]{3})",
    "d": r"(?P<d>\d{1,2})",
    "H": r"(?P<H>\d{1,2})",
    "I": r"(?P<I>\d{1,2})",
    "p": r"(?P<p>[AaPp])\.?[Mm]\.?",
    "M": r"(?P<M>\d{1,2})",
    "S": r"(?P<S>\d{1,2})",
    "f": r"(?P<f>\d{1,9})",
    "z": r"(?P<z>Z|[+-]\d\d:?\d\d)",
}
_ISO = (
    r"(?P<Y>\d{4})-(?P<m>\d\d)-(?P<d>\d\d)[T ](?P<H>\d\d):(?P<M>\d\d)"
    r"(?::(?P<S>\d\d)(?:[.,](?P<f>\d{1,9}))?)?\s?(?P<z>Z|[+-]\d\d:?\d\d)?"
)
_UNIX: Final = {"unix_s": NS, "unix_ms": 1_000_000, "unix_us": 1_000, "unix_ns": 1}
_EXCEL_DAY_0 = date(1899, 12, 30).toordinal() - _EPOCH_DAY

# A stamp that was read: nanoseconds, and whether they are UTC already. None when it cannot be read.
Stamp = tuple[int, bool] | None


def stamp_reader(form: str) -> Callable[[str], Stamp]:
    """A function that reads a stamp written in a form.

    Args:
        form: ``iso``; ``unix_s``, ``unix_ms``, ``unix_us``, ``unix_ns`` (UTC); ``excel`` (days, local time);
            or a pattern of %Y %y %m %b %d %H %I %p %M %S %f (1 to 9 digits) %z.

    Raises:
        WrongInput: the pattern has an unknown part or says too little.

    Example:
        >>> read = stamp_reader("%d.%m.%Y %H:%M:%S,%f")
        >>> read("01.01.1970 00:00:01,5"), read("31.02.2026 00:00:00,0")
        ((1500000000, False), None)
    """
    if form in _UNIX:
        return lambda text: _decimal(text, _UNIX[form], 0, utc=True)
    if form == "excel":
        return lambda text: _decimal(text, 86_400 * NS, _EXCEL_DAY_0 * 86_400 * NS, utc=False)
    pattern = re.compile(_ISO if form == "iso" else _pattern_of(form))

    def read(text: str) -> Stamp:
        match = pattern.fullmatch(text.strip())
        return _assemble(match.groupdict()) if match else None

    return read


def _pattern_of(form: str) -> str:
    """The regular expression of a pattern of % parts."""
    parts = re.split(r"%(.)", form)
    unknown = [p for p in parts[1::2] if p not in _PARTS]
    twice = {p for p in parts[1::2] if parts[1::2].count(p) > 1}
    have = set(parts[1::2])
    lacks = not have & {"Y", "y"} or not have & {"m", "b"} or "d" not in have or not have & {"H", "I"}
    if unknown or twice or lacks or ("I" in have) != ("p" in have):
        raise WrongInput(
            f"'{form}' is no form of a stamp: iso, unix_s, unix_ms, unix_us, unix_ns, excel, or year, "
            "month, day and hour as in %d.%m.%Y %H:%M:%S (parts known: %Y %y %m %b %d %H, or %I with %p, "
            "%M %S %f %z; each once)"
        )
    texts = [re.sub(r"\\ ", r"\\s+", re.escape(t)) for t in parts[0::2]]
    return "".join(t + (_PARTS[p] if p else "") for t, p in zip(texts, [*parts[1::2], ""], strict=True))


def _assemble(part: dict[str, str | None]) -> Stamp:
    year = int(part["Y"] or 0) if part.get("Y") else 2000 + int(part.get("y") or 0)
    month = int(part["m"] or 0) if part.get("m") else _month(part.get("b") or "")
    hour = int(part.get("H") or part.get("I") or 0)
    if half := part.get("p"):
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half in "pP" else 0)
    minute, second = int(part.get("M") or 0), int(part.get("S") or 0)
    day = _day(year, month, int(part["d"] or 0))
    if day is None or hour > 23 or minute > 59 or second > 59:
        return None
    ns = ((day * 24 + hour) * 60 + minute) * 60 * NS + second * NS + int((part.get("f") or "").ljust(9, "0"))
    zone = part.get("z")
    if zone is None:
        return ns, False
    return ns - (0 if zone == "Z" else _offset_ns(zone)), True


def _month(name: str) -> int:
    low = name.lower()
    return _MONTHS.index(low) + 1 if low in _MONTHS else 0


@lru_cache(maxsize=64)
def _day(year: int, month: int, day: int) -> int | None:
    """Days since 1970; None for a day that is not in the calendar or that int64 nanoseconds cannot hold."""
    if not 1700 <= year <= 2250:
        return None
    try:
        return date(year, month, day).toordinal() - _EPOCH_DAY
    except ValueError:
        return None


def _offset_ns(text: str) -> int:
    sign = -1 if text[0] == "-" else 1
    digits = text[1:].replace(":", "")
    return sign * (int(digits[:2]) * 60 + int(digits[2:])) * _MINUTE_NS


def _decimal(text: str, unit_ns: int, zero_ns: int, *, utc: bool) -> Stamp:
    try:
        number = Decimal(text.strip().replace(",", "."))
    except InvalidOperation:
        return None
    if not number.is_finite() or abs(number) * unit_ns >= 2**62:
        return None
    return int((number * unit_ns).to_integral_value()) + zero_ns, utc


@dataclass(frozen=True, slots=True)
class Resolved:
    """Local times as UTC.

    Attributes:
        time_ns: UTC nanoseconds, shape (n,).
        missing: local times that the clock skipped, shape (n,).
        doubtful: in the hour that passes twice, and the order of the rows does not say which, shape (n,).
    """

    time_ns: Times
    missing: Flags
    doubtful: Flags


def to_utc(wall_ns: Times, zone: ZoneInfo, fold: str, group: NDArray[np.int32]) -> Resolved:
    """Local times in the order of a file as UTC.

    Args:
        wall_ns: local time counted as if it were UTC, shape (n,).
        fold: ``first`` or ``second`` pass for the hour that the clock passes twice; ``order``: the pass
            changes where the rows of a group step back.
        group: rows of one group are in order of time, up or down, shape (n,).
    """
    before, after = _offsets(wall_ns, zone)
    first, second = wall_ns - before, wall_ns - after
    twice = before > after
    doubtful = np.zeros(len(wall_ns), np.bool_)
    time_ns = np.where(twice & (fold == "second"), second, first)
    if fold == "order" and twice.any():
        for number in np.unique(group[twice]):
            rows = np.flatnonzero(group == number)
            if np.median(np.diff(wall_ns[rows])) < 0 if len(rows) > 1 else False:
                rows = rows[::-1]
            for stretch in _stretches(rows, wall_ns, twice):
                is_second, sure = _passes(stretch, rows, first, second, wall_ns)
                time_ns[stretch] = np.where(is_second, second[stretch], first[stretch])
                doubtful[stretch] = not sure
    return Resolved(time_ns, before < after, doubtful)


def _offsets(wall_ns: Times, zone: ZoneInfo) -> tuple[Times, Times]:
    """Offsets from UTC in ns of each local time, for its first and its second pass; asked once a minute."""
    minutes, place = np.unique(wall_ns // _MINUTE_NS, return_inverse=True)
    zero = datetime(1970, 1, 1)
    table = np.empty((2, len(minutes)), np.int64)
    for k, minute in enumerate(minutes.tolist()):
        local = (zero + timedelta(minutes=minute)).replace(tzinfo=zone)
        for fold in (0, 1):
            offset = local.replace(fold=fold).utcoffset() or timedelta(0)
            table[fold, k] = (offset.days * 86_400 + offset.seconds) * NS
    return table[0][place], table[1][place]


def _stretches(rows: NDArray[np.intp], wall_ns: Times, twice: Flags) -> list[NDArray[np.intp]]:
    """Runs of neighbouring rows in one hour that passes twice."""
    inside = np.flatnonzero(twice[rows])
    far = np.abs(np.diff(wall_ns[rows[inside]])) > _HALF_DAY_NS
    cuts = np.flatnonzero((np.diff(inside) > 1) | far) + 1
    return [rows[part] for part in np.split(inside, cuts)]


def _passes(
    stretch: NDArray[np.intp], rows: NDArray[np.intp], first: Times, second: Times, wall_ns: Times
) -> tuple[Flags, bool]:
    """Which rows of a stretch are in the second pass, and whether that is sure."""
    half = (second[stretch[0]] - first[stretch[0]]) // 2
    wall = wall_ns[stretch]
    steps = np.diff(wall_ns[rows])
    usual = int(np.median(steps[steps > 0])) if (steps > 0).any() else 0
    # A step d is nearer to the usual one in the next pass (d + 2 half) than in this one if d < usual - half.
    back = np.append(False, wall[1:] - np.maximum.accumulate(wall)[:-1] < usual - half)
    if back.any():
        is_second: Flags = np.arange(len(wall)) >= int(np.argmax(back))
        return is_second, True
    # One pass only: the one in which the way to a neighbour is nearest to the usual one.
    start = int(np.flatnonzero(rows == stretch[0])[0])
    end = int(np.flatnonzero(rows == stretch[-1])[0])
    ways: list[int] = []
    if start > 0:
        ways.append(int(first[stretch[0]] - first[rows[start - 1]]) - usual)
    if end + 1 < len(rows):
        ways.append(usual - int(first[rows[end + 1]] - first[stretch[-1]]))
    if not ways:
        return np.zeros(len(wall), np.bool_), False
    off_first, off_second = (min(abs(w + shift) for w in ways) for shift in (0, int(2 * half)))
    return np.full(len(wall), off_second < off_first), abs(off_second - off_first) >= int(half)


def in_zone(time_ns: int, zone: ZoneInfo) -> str:
    """A time as ISO 8601 with its offset, cut to milliseconds.

    Example:
        >>> in_zone(1_000_000_000, ZoneInfo("Europe/Madrid"))
        '1970-01-01T01:00:01.000+01:00'
    """
    seconds, rest = divmod(time_ns, NS)
    local = datetime.fromtimestamp(seconds, UTC).astimezone(zone)
    return local.replace(microsecond=rest // 1_000_000 * 1000).isoformat(timespec="milliseconds")
