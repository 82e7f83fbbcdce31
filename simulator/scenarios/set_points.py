"""Which set-points a line has, by the paths of their tags, and within which range each makes sense."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from functools import lru_cache

from historian.catalogue import CATALOGUE, meaning_of
from historian.tags import pattern_of
from simulator.scenarios.scenario import LineSheet

NAMES = {
    "extruder.zone": "barrel zones",
    "extruder.vent": "vents",
    "filter.plate": "heater plates",
    "pump.zone": "pump zones",
    "die.zone": "die ring zones",
}


@lru_cache(maxsize=64)
def set_points_of(line: LineSheet) -> tuple[str, ...]:
    """Every set-point that such a line has, sorted."""
    places = line.places()
    paths: list[str] = []
    for pattern in CATALOGUE:
        if not is_set_point(pattern) or (pattern.startswith("pump.") and not line.melt_pump):
            continue
        if "*" not in pattern:
            paths.append(pattern)
            continue
        count = places.get(pattern.split(".*")[0], 0)
        paths += [pattern.replace("*", str(n), 1) for n in range(1, count + 1)]
    return tuple(sorted(paths))


def is_set_point(pattern: str) -> bool:
    """Whether an operator can set it."""
    return pattern.endswith(".sp")


def spread(path: str, line: LineSheet) -> list[str]:
    """The paths that one with ``*`` in it stands for; a path without stands for itself.

    Example:
        >>> spread("filter.plate.*.temp.sp", LineSheet(plates=3))
        ['filter.plate.1.temp.sp', 'filter.plate.2.temp.sp', 'filter.plate.3.temp.sp']
    """
    if "*" not in path:
        return [path]
    count = line.places().get(path.split(".*", maxsplit=1)[0], 0)
    return [path.replace("*", str(n), 1) for n in range(1, count + 1)] or [path]


def mistake_in_set_point(path: str, line: LineSheet) -> str | None:
    """What is wrong with a set-point's path on such a line; None: nothing."""
    if not is_set_point(path):
        return _unknown(path, "set-point", set_points_of(line))
    return _mistake_in(path, line, "set-point", set_points_of(line))


def mistake_in_tag(path: str, line: LineSheet) -> str | None:
    """What is wrong with a tag's path on such a line; None: nothing."""
    return _mistake_in(path, line, "tag", tuple(CATALOGUE))


def _mistake_in(path: str, line: LineSheet, what: str, known: Sequence[str]) -> str | None:
    pattern = pattern_of(path)
    if pattern not in CATALOGUE:
        return _unknown(path, what, known)
    if path.startswith("pump.") and not line.melt_pump:
        return f"'{path}': the line has no melt pump"
    front, starred, _rest = pattern.partition(".*")
    if not starred:
        return None
    place = path.removeprefix(front + ".").split(".")[0]
    count = line.places().get(front, 0)
    if place.isdigit() and 1 <= int(place) <= count:
        return None
    return f"'{path}': place {place}, but the line has {count} {NAMES[front]}"


def _unknown(path: str, what: str, known: Sequence[str]) -> str:
    near = get_close_matches(path, known, 1)
    return f"unknown {what} '{path}'" + (f"; did you mean '{near[0]}'?" if near else "")


def mistake_in_value(path: str, value: float) -> str | None:
    """Why a value is impossible for that set-point; None: it is not."""
    meaning = meaning_of(path)
    if meaning is None or meaning.low <= value <= meaning.high:
        return None
    return f"{path} = {value:g} is outside {meaning.low:g}…{meaning.high:g} {meaning.unit}"


def hottest_cel(settings: Mapping[str, float]) -> float | None:
    """The hottest melt-side set-point of the settings; None: none is given."""
    fronts = ("extruder.zone.", "filter.plate.", "pump.zone.")
    given = [v for p, v in settings.items() if p.endswith(".temp.sp") and p.startswith(fronts)]
    return max(given, default=None)
