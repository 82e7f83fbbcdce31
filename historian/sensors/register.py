"""The register of sensors and their checks, and how uncertain a value of theirs is.

It never alters what was measured: an error that a check found is not taken out of any value, it makes the
value that much less certain. A sensor is known by its serial number; a tag may have had several, one after
the other.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import StrEnum
from itertools import pairwise

import numpy as np

from historian.sensors.tolerance import Tolerance, default_tolerance
from historian.sensors.uncertainty import Uncertainty, rectangular, resolution
from historian.tags import Tag

DAY_NS = 86_400 * 10**9

_REFERENCE_PART = 0.25
"""A reference of which nothing is said is taken to be four times as accurate as the sensor.
common practice, no source."""


@dataclass(frozen=True, slots=True)
class Point:
    """One row of a check: what the reference said and what the sensor said, in the tag's unit."""

    reference: float
    reading: float


@dataclass(frozen=True, slots=True)
class Check:
    """One check of a sensor against a reference.

    Attributes:
        serial: the sensor's.
        day: when.
        by: who did it.
        as_found: before anything was adjusted.
        as_left: afterwards; empty when nothing was adjusted.
        zero: the reading without load, before anything was adjusted.
        reference: standard uncertainty of the reference, in the tag's unit; None when it is not known.
        certificate: its number.
    """

    serial: str
    day: date
    by: str
    as_found: tuple[Point, ...] = ()
    as_left: tuple[Point, ...] = ()
    zero: Point | None = None
    reference: float | None = None
    certificate: str = ""

    @property
    def found(self) -> tuple[Point, ...]:
        """Rows that say how the sensor was before the check; a zero alone is one row."""
        return self.as_found or ((self.zero,) if self.zero is not None else ())

    @property
    def left(self) -> tuple[Point, ...]:
        """Rows that say how the sensor was after the check."""
        return self.as_left or self.found

    @property
    def is_whole(self) -> bool:
        """Whether it says more than one point: a look at the zero alone is no check of the range."""
        return max(len(self.as_found), len(self.as_left)) > 1

    @property
    def time_ns(self) -> int:
        """Start of the day, UTC."""
        return day_ns(self.day)


@dataclass(frozen=True, slots=True)
class Sensor:
    """One sensor at one tag; quantities in the tag's unit.

    Attributes:
        tag: path.
        serial: its serial number.
        kind: what it is, for a person.
        low, high: its range.
        tolerance: limit of error that its maker promises.
        interval_ns: time from one check to the next.
        fitted: first day at this tag; None when it was always there.
        resolution: smallest step of its values; None when it does not matter.
    """

    tag: str
    serial: str
    kind: str
    low: float
    high: float
    tolerance: Tolerance
    interval_ns: int
    fitted: date | None = None
    resolution: float | None = None


class Standing(StrEnum):
    """How a sensor stands with its checks; the worst first."""

    NEVER = "never checked"
    OVERDUE = "overdue"
    DUE = "due"
    CHECKED = "checked"


@dataclass(frozen=True, slots=True)
class Register:
    """Every sensor and every check ever recorded.

    Attributes:
        sensors: in the order of the file.
        checks: in the order of their days.
    """

    sensors: tuple[Sensor, ...] = ()
    checks: tuple[Check, ...] = ()

    @classmethod
    def of(cls, sensors: Iterable[Sensor], checks: Iterable[Check]) -> Register:
        """The register with its checks in order."""
        return cls(tuple(sensors), tuple(sorted(checks, key=lambda c: c.day)))

    def sensor_at(self, tag: str, time_ns: int) -> Sensor | None:
        """The sensor that measured a tag at a time; None when none was registered for it then."""
        fitted = [
            s for s in self.sensors if s.tag == tag and (s.fitted is None or day_ns(s.fitted) <= time_ns)
        ]
        return max(fitted, key=lambda s: s.fitted or date.min, default=None)

    def fitted(self, time_ns: int) -> list[Sensor]:
        """The sensors that measured at a time, in the order of the file."""
        return [s for s in self.sensors if self.sensor_at(s.tag, time_ns) is s]

    def checks_of(self, sensor: Sensor) -> list[Check]:
        """Its checks, oldest first."""
        return [c for c in self.checks if c.serial == sensor.serial]

    def uncertainty(self, tag: Tag, value: float, time_ns: int) -> Uncertainty | None:
        """How well a value of a tag was known at a time; None for what no sensor measures.

        Args:
            value: in the tag's unit.
            time_ns: when it was measured.
        """
        sensor = self.sensor_at(tag.path, time_ns)
        if sensor is not None:
            return uncertainty(sensor, self.checks_of(sensor), value, time_ns)
        assumed = default_tolerance(tag)
        if assumed is None:
            return None
        parts = {"accuracy": rectangular(assumed.limit(value))}
        return Uncertainty(parts, f"no sensor of {tag.path} is in the register; {assumed.name} is assumed")

    def standing(
        self, sensor: Sensor, now_ns: int, ahead_ns: int = 30 * DAY_NS
    ) -> tuple[Standing, int | None]:
        """How a sensor stands, and when its next check is due, UTC nanoseconds (None: never checked).

        A look at the zero alone is no check.
        """
        checks = [c for c in self.checks_of(sensor) if c.is_whole]
        if not checks:
            return Standing.NEVER, None
        due_ns = checks[-1].time_ns + sensor.interval_ns
        if due_ns <= now_ns:
            return Standing.OVERDUE, due_ns
        return (Standing.DUE if due_ns - now_ns <= ahead_ns else Standing.CHECKED), due_ns


def uncertainty(sensor: Sensor, checks: Sequence[Check], value: float, time_ns: int) -> Uncertainty:
    """How well a sensor's value was known at a time.

    Parts, standard uncertainties in the tag's unit:

    - accuracy: never checked until then, the maker's limits;
    - error: what the check found and nobody corrects, as it is (its square is added to the variance:
      S. D. Phillips et al., J. Res. Natl. Inst. Stand. Technol. 102 (1997) 577);
    - zero: what a look at the zero has found since;
    - reference: of what it was checked against;
    - drift: after the last check it may have gone on as fast as between earlier ones, or, where there were
      none, within the maker's limits in one interval; between two checks, half of what changed;
    - resolution.

    Args:
        checks: of this sensor, oldest first.
        value: its reading, in the tag's unit.

    Source: JCGM 100:2008, 4.3.7 (limits are rectangular), F.2.2.1 (resolution), 5.1.2 (sum).
    """
    limit = sensor.tolerance.limit(value)
    parts = {"resolution": resolution(sensor.resolution)} if sensor.resolution else {}
    whole = [c for c in checks if c.is_whole]
    last = next((c for c in reversed(whole) if c.time_ns <= time_ns), None)
    following = next((c for c in whole if c.time_ns > time_ns and c.found), None)
    since_ns = last.time_ns if last is not None else -DAY_NS
    looks = [c.left[0] for c in checks if not c.is_whole and c.left and since_ns < c.time_ns <= time_ns]
    if looks:
        known = error_at(last.left, looks[-1].reading) if last is not None else 0.0
        parts["zero"] = abs(looks[-1].reading - looks[-1].reference - known)
    if last is None:
        parts["accuracy"] = rectangular(limit)
        if following is not None:
            parts["error"] = abs(error_at(following.found, value))
        return Uncertainty(parts, f"sensor {sensor.serial}, not checked before; {sensor.tolerance.name}")
    parts |= _error_and_drift(sensor, whole, last, following, value, time_ns)
    told = last.reference
    parts["reference"] = rectangular(_REFERENCE_PART * limit) if told is None else told
    number = f", certificate {last.certificate}" if last.certificate else ""
    return Uncertainty(parts, f"sensor {sensor.serial}, checked on {last.day.isoformat()}{number}")


def _error_and_drift(
    sensor: Sensor, whole: Sequence[Check], last: Check, following: Check | None, value: float, time_ns: int
) -> dict[str, float]:
    """What is left of the error that is known, and what may have come to it since."""
    left = error_at(last.left, value)
    if following is None:
        intervals = (time_ns - last.time_ns) / sensor.interval_ns
        drift = _drift_an_interval(sensor, whole, value) * intervals
        return {"error": abs(left), "drift": rectangular(drift)}
    change = error_at(following.found, value) - left
    passed = (time_ns - last.time_ns) / (following.time_ns - last.time_ns)
    return {"error": abs(left + passed * change), "drift": rectangular(change / 2.0)}


def error_at(points: Sequence[Point], reading: float) -> float:
    """How much too high a reading is: by a straight line between the rows, beyond them as at the last one.

    Example:
        >>> error_at([Point(0.0, 1.0), Point(100.0, 103.0)], 52.0)
        2.0
    """
    rows = sorted(points, key=lambda p: p.reading)
    return float(np.interp(reading, [p.reading for p in rows], [p.reading - p.reference for p in rows]))


def _drift_an_interval(sensor: Sensor, whole: Sequence[Check], value: float) -> float:
    """The most that the error changed from one check to the next, for one interval."""
    rates = [
        abs(error_at(new.found, value) - error_at(old.left, value)) / (new.time_ns - old.time_ns)
        for old, new in pairwise(whole)
        if new.found and new.time_ns > old.time_ns
    ]
    return max(rates) * sensor.interval_ns if rates else sensor.tolerance.limit(value)


def day_ns(day: date) -> int:
    """Start of a day, UTC nanoseconds.

    Example:
        >>> day_ns(date(1970, 1, 2))
        86400000000000
    """
    return int(datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp()) * 10**9
