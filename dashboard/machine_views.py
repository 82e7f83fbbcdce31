"""The machines in flow order with their figures and the last half hour of each, for one metre."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import isnan

import numpy as np

from dashboard.now import Now
from dashboard.views import MachineRow, MachineView, Reading
from dashboard.words import number_text, quantity_text, unit_text
from historian.catalogue import Meaning, meaning_of
from historian.envelope import envelope_of
from historian.frame import NS, Series
from historian.store import Store
from historian.tags import Tag, TagKind, place_of

SPARK_NS = 1800 * NS
SPARK_COLUMNS = 60
SPARK_GAP_NS = 90 * NS

ORDER = (
    "doser",
    "extruder",
    "filter",
    "die",
    "pelletizer",
    "water",
    "dryer",
    "diverter",
    "product",
    "line",
    "room",
)
NAMES = {
    "doser": "Feed",
    "extruder": "Extruder",
    "filter": "Melt filter",
    "die": "Die",
    "pelletizer": "Pelletizer",
    "water": "Process water",
    "dryer": "Dryer",
    "diverter": "Diverter",
    "product": "Product scale",
    "line": "Line",
    "room": "Hall",
}
_LEAST_SPAN = {"Cel": 4.0, "bar": 4.0, "%": 10.0, "kg/h": 40.0}
_HIDDEN_ENDINGS = (".sp", ".i")
_INFRASTRUCTURE = ("src.", "edge.")


def shown_tags(tags: Mapping[str, Tag]) -> list[str]:
    """The paths that get a row, by machine in flow order; set-points and currents are left out."""
    paths = [
        p
        for p in tags
        if not p.endswith(_HIDDEN_ENDINGS)
        and not p.startswith(_INFRASTRUCTURE)
        and not _told_with_temperature(p, tags)
    ]
    return sorted(paths, key=_place_in_flow)


def _told_with_temperature(path: str, tags: Mapping[str, Tag]) -> bool:
    """A zone's output, and whether it is in use, stand in the row of its temperature."""
    zone = path.removesuffix(".out").removesuffix(".enabled.state")
    return zone != path and f"{zone}.temp.pv" in tags


def _place_in_flow(path: str) -> tuple[int, str, str, int]:
    machine = path.split(".", maxsplit=1)[0]
    rank = ORDER.index(machine) if machine in ORDER else len(ORDER)
    quantity = path.rsplit(".", 2)[-2:]
    zoned = place_of(path)
    return rank, machine, "" if zoned is None else ".".join(quantity), zoned or 0


def sparks(store: Store, paths: list[str], end_ns: int) -> dict[str, Series]:
    """The outline of the last half hour of each signal that slopes."""
    known = store.tags()
    wanted = [p for p in paths if p in known and known[p].kind is TagKind.ANALOG]
    found = store.read(wanted, end_ns - SPARK_NS, end_ns + NS) if wanted else {}
    outlines = ((p, envelope_of(s, end_ns - SPARK_NS, end_ns + NS, SPARK_COLUMNS)) for p, s in found.items())
    return {p: Series(e.time_ns, e.value, e.quality) for p, e in outlines}


def machine_views(now: Now, outlines: Mapping[str, Series], end_ns: int) -> tuple[MachineView, ...]:
    """Every machine that the line measures, in flow order."""
    by_machine: dict[str, list[MachineRow]] = {}
    for path in shown_tags(now.tags):
        machine = path.split(".", maxsplit=1)[0]
        by_machine.setdefault(machine, []).append(_row(now, path, outlines.get(path), end_ns))
    return tuple(MachineView(NAMES.get(m, m.capitalize()), tuple(rows)) for m, rows in by_machine.items())


def _row(now: Now, path: str, outline: Series | None, end_ns: int) -> MachineRow:
    tag, seen = now.tags[path], now.of(path)
    meaning = meaning_of(path)
    title = _title(tag, meaning)
    if seen.known and tag.codes:
        word = tag.codes.get(int(seen.value), f"{seen.value:g}")
        reading = Reading(path, title, word, "", "", seen.trust, seen.why, small=True)
    else:
        text = number_text(seen.value, tag.unit) if seen.known else ""
        reading = Reading(path, title, text, unit_text(tag.unit), "", seen.trust, seen.why)
    if outline is None or len(outline) == 0 or tag.kind is not TagKind.ANALOG:
        return MachineRow(path, reading)
    return MachineRow(
        path, reading, tuple(_points(outline, tag.unit, end_ns)), _beside(now, path, outline, tag.unit)
    )


def _title(tag: Tag, meaning: Meaning | None) -> str:
    words = tag.text or (meaning.text if meaning else tag.path)
    words = words.removesuffix(", temperature") if ".temp.pv" in tag.path else words
    if ".pressure." in tag.path and "pressure" not in words:
        words += ", pressure"
    return words[:1].upper() + words[1:]


def _beside(now: Now, path: str, outline: Series, unit: str) -> str:
    """A zone's output and set-point, or the span of the half hour."""
    zone = path.removesuffix(".temp.pv")
    if now.value(f"{zone}.enabled.state") == 0:
        return "taken out"
    output, setpoint = now.of(f"{zone}.out"), now.of(f"{zone}.temp.sp")
    if zone == path or not (output.known or setpoint.known):
        return _span(outline, unit)
    parts = [f"set {number_text(setpoint.value, unit)}"] if setpoint.known else []
    return " · ".join([*parts, f"out {quantity_text(output.value, '%')}"] if output.known else parts)


def _points(outline: Series, unit: str, end_ns: int) -> Iterator[tuple[float, float] | None]:
    """The outline within a unit square; a gap breaks it. A steady signal stays a flat line."""
    known = ~np.isnan(outline.value)
    if not known.any():
        return
    low, high = float(np.min(outline.value[known])), float(np.max(outline.value[known]))
    span = max(high - low, _LEAST_SPAN.get(unit, 0.05 * max(abs(low), abs(high)) or 1.0))
    low = (low + high - span) / 2
    before_ns = None
    for time_ns, value in zip(outline.time_ns.tolist(), outline.value.tolist(), strict=True):
        if isnan(value) or (before_ns is not None and time_ns - before_ns > SPARK_GAP_NS):
            yield None
        before_ns = time_ns
        if not isnan(value):
            yield 1 - (end_ns - time_ns) / SPARK_NS, (value - low) / span


def _span(outline: Series, unit: str) -> str:
    known = outline.value[~np.isnan(outline.value)]
    if len(known) == 0:
        return ""
    low, high = number_text(float(known.min()), unit), number_text(float(known.max()), unit)
    return low if low == high else f"{low} … {high}"
