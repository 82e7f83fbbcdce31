"""Signals of a window as the ledger draws them: outlines with their gaps, in site milliseconds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dashboard.views import Curve, Gap, Row
from dashboard.words import clock_text, unit_text
from historian.envelope import Envelope
from historian.frame import NS
from historian.quality import in_words, is_bad, is_uncertain
from historian.tags import Tag, place_of

GAP_NS = 90 * NS
"""The edge repeats an unchanged value every minute; a longer silence is a gap."""

DP = "filter.dp.calc"


@dataclass(frozen=True, slots=True)
class Asked:
    """One row as it is asked for: title, unit, and (path, label, kind, set-point?) of each curve."""

    title: str
    unit: str
    curves: tuple[tuple[str, str, str, bool], ...]


def rows_asked(tags: Mapping[str, Tag]) -> tuple[Asked, ...]:
    """The rows that a line's tags allow, from the screen outwards; a row without a tag is left out."""
    plates = sorted({place_of(p) or 0 for p in tags if p.startswith("filter.plate.")})
    fixed = (
        Asked(
            "Melt pressure",
            "bar",
            (
                ("filter.inlet.pressure.pv", "before", "inlet", False),
                ("filter.outlet.pressure.pv", "after", "outlet", False),
            ),
        ),
        Asked("Pressure difference", "bar", ((DP, "over screen", "dp", False),)),
        Asked(
            "Feed", "kg/h", (("doser.rate.sp", "", "feed", True), ("doser.rate.pv", "feed", "feed", False))
        ),
        Asked("Torque", "%", (("extruder.drive.torque.pv", "screw drive", "torque", False),)),
        Asked("Melt temperature", "Cel", (("extruder.melt.temp.pv", "screw tip", "melt", False),)),
        Asked(
            "Plate temperatures",
            "Cel",
            tuple((f"filter.plate.{n}.temp.sp", "", "plate", True) for n in plates)
            + tuple((f"filter.plate.{n}.temp.pv", str(n), "plate", False) for n in plates),
        ),
        Asked("Plate outputs", "%", tuple((f"filter.plate.{n}.out", str(n), "plate", False) for n in plates)),
    )
    known = (
        Asked(a.title, a.unit, tuple(c for c in a.curves if c[0] in tags or _derived(c[0], tags)))
        for a in fixed
    )
    return tuple(a for a in known if a.curves)


def _derived(path: str, tags: Mapping[str, Tag]) -> bool:
    """Whether the pressure difference can be taken from the two pressures."""
    return path == DP and {"filter.inlet.pressure.pv", "filter.outlet.pressure.pv"} <= set(tags)


def row_of(
    asked: Asked,
    outlines: Mapping[str, Envelope],
    window: tuple[int, int],
    columns: int,
    offset_ms: int,
    zone: str,
) -> Row:
    """One row with its curves and the stretches in which none of its measured signals had data."""
    longest_ns = max(GAP_NS, 2 * (window[1] - window[0]) // max(1, columns))
    curves: list[Curve] = []
    gaps: list[Gap] = []
    for path, label, kind, setpoint in asked.curves:
        outline = outlines.get(path)
        if outline is None or len(outline.time_ns) == 0:
            continue
        silent = holes(outline, window, longest_ns)
        curves.append(_curve(asked, path, label, kind, setpoint, outline, silent, offset_ms))
        if not setpoint:
            gaps += [_gap(hole, label, offset_ms, zone, len(asked.curves) > 3) for hole in silent]
    return Row(asked.title, unit_text(asked.unit), tuple(curves), _joined(gaps))


def holes(outline: Envelope, window: tuple[int, int], longest_ns: int) -> list[tuple[int, int, str]]:
    """Where a signal had no data: start, end and why; the window's edges count once data began."""
    times, bad = outline.time_ns, is_bad(outline.quality) | np.isnan(outline.value)
    good = np.flatnonzero(~bad)
    if len(good) == 0:
        return [(int(times[0]), window[1], in_words(int(outline.quality[0])))]
    found: list[tuple[int, int, str]] = []
    apart = (np.diff(good) > 1) | (np.diff(times[good]) > longest_ns)
    for before, after in zip(good[:-1][apart].tolist(), good[1:][apart].tolist(), strict=True):
        if after - before > 1:
            why = in_words(int(outline.quality[before + 1]))
            found.append((int(times[before + 1]), int(times[after]), why))
        else:
            found.append((int(times[before]), int(times[after]), "silent"))
    last = int(good[-1])
    if last + 1 < len(times):
        found.append((int(times[last + 1]), window[1], in_words(int(outline.quality[last + 1]))))
    elif window[1] - times[last] > longest_ns:
        found.append((int(times[last]), window[1], "silent"))
    return [f for f in found if f[1] > f[0]]


def _curve(
    asked: Asked,
    path: str,
    label: str,
    kind: str,
    setpoint: bool,
    outline: Envelope,
    silent: list[tuple[int, int, str]],
    offset_ms: int,
) -> Curve:
    times, values, doubted = outline.time_ns, outline.value, is_uncertain(outline.quality)
    breaks = [start + 1 for start, _, why in silent if why == "silent"]
    if breaks:
        at = np.searchsorted(times, breaks)
        times = np.insert(times, at, breaks)
        values = np.insert(values, at, np.nan)
        doubted = np.insert(doubted, at, False)
    return Curve(
        path,
        label,
        unit_text(asked.unit),
        kind,
        site_ms(times, offset_ms),
        values,
        doubted,
        step=setpoint,
        setpoint=setpoint,
    )


def site_ms(time_ns: NDArray[np.int64], offset_ms: int) -> NDArray[np.float64]:
    """Site time as float milliseconds, for a picture's axis only: exact to the microsecond."""
    return time_ns // 1000 / 1000.0 + offset_ms


def _gap(hole: tuple[int, int, str], label: str, offset_ms: int, zone: str, many: bool) -> Gap:
    start_ns, end_ns, why = hole
    span = f"{clock_text(start_ns, zone, seconds=False)}–{clock_text(end_ns, zone, seconds=False)}"
    whose = f"{label}: " if many and label else ""
    reason = "" if why in ("no data", "good") else f" ({why})"
    return Gap(start_ns / 1e6 + offset_ms, end_ns / 1e6 + offset_ms, f"{whose}no data {span}{reason}")


def _joined(gaps: list[Gap]) -> tuple[Gap, ...]:
    """Gaps that nearly coincide are one: all signals of a lost source begin and end within seconds."""
    merged: list[Gap] = []
    for gap in sorted(gaps, key=lambda g: g.start_ms):
        if (
            merged
            and gap.start_ms - merged[-1].start_ms < 5000
            and abs(gap.end_ms - merged[-1].end_ms) < 65_000
        ):
            last = merged[-1]
            merged[-1] = Gap(last.start_ms, max(last.end_ms, gap.end_ms), last.text.split(": ")[-1])
        else:
            merged.append(gap)
    return tuple(merged)
