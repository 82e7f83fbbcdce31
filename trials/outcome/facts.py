"""What people wrote down of material, screen and samples, as the figures need it. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import isfinite
from typing import Any

from historian.units import quantity
from process.melt_index import consistency_pa_s_n, exponent_of_two_loads
from process.pellets import AREA_SWELL, Cut
from rules.line import LineFacts
from trials.figures.measured import Measured, told
from trials.figures.operating_point import Facts
from trials.figures.resistance import Melt, Reference, ScreenInUse
from trials.figures.throughput import MaterialHeat
from trials.forms.forms import measured
from trials.forms.measures import Of
from trials.record.book import Book
from trials.record.entries import Entry, What
from trials.results import LabResult, results_of


def facts_of(book: Book, line: LineFacts, *, screen: str, lot: str, melt_cel: float | None) -> Facts:
    """The facts of one operating point.

    Args:
        screen: serial of the screen in use; empty: the line's file tells of it.
        lot: results of other lots do not count; those of no lot do.
        melt_cel: temperature that pressures are brought to beside the planned throughput; None: not known.
    """
    planned = planned_kg_h(book, line)
    results = results_of(_of_lot(book.standing, lot))
    material = book.only(What.MATERIAL)
    feed_dirt, discharge_dirt, pellet_dirt = _dirt(results)
    plates = line.melt_filter.plates if line.melt_filter else 0
    plate_kw = line.melt_filter.heater_kw if line.melt_filter else None
    return Facts(
        planned_kg_h=planned,
        screen=_screen(book, line, screen),
        melt=_melt(book, lot, material),
        heat=_heat(material),
        cut=_cut(book),
        reference=None if planned is None or melt_cel is None else Reference(planned, melt_cel),
        heaters_kw={f"filter.plate.{n}.out": plate_kw for n in range(1, plates + 1)} if plate_kw else {},
        solid_density_kg_m3=_first(results, "density", Of.PELLETS) or _first(results, "density", Of.FEED),
        moisture_percent=_first(results, "moisture", Of.FEED),
        feed_dirt=feed_dirt,
        discharge_dirt=discharge_dirt,
        pellet_dirt=pellet_dirt,
        moisture_samples=_moistures(book, results),
        pellet_samples_ns=tuple(e.time_ns for e in book.all_of(What.SAMPLE) if _of_pellets(e)),
    )


def planned_kg_h(book: Book, line: LineFacts) -> float | None:
    """The planned throughput: the trial's, else the line's."""
    written = book.only(What.PLAN).get("throughput")
    return line.planned_kg_h if written is None else quantity(str(written), "kg/h")


def _of_lot(entries: Iterable[Entry], lot: str) -> list[Entry]:
    return [e for e in entries if e.data.get("lot") in (None, lot) or not lot]


def _screen(book: Book, line: LineFacts, serial: str) -> ScreenInUse | None:
    told_of = next((e.data for e in book.all_of(What.SCREEN) if e.data["serial"] == serial and serial), None)
    melt_filter = line.melt_filter
    if told_of is None:
        if melt_filter is None or melt_filter.screen_area_cm2 is None:
            return None
        return ScreenInUse(melt_filter.screen_area_cm2, hole_um=melt_filter.fineness_um)
    area = _number(told_of, "area", "cm2")
    if area is None and melt_filter is not None:
        area = melt_filter.screen_area_cm2
    if area is None:
        return None
    open_percent = _number(told_of, "open", "%")
    return ScreenInUse(
        area,
        open_share=None if open_percent is None else open_percent / 100,
        hole_um=_number(told_of, "fineness", "um"),
    )


def _melt(book: Book, lot: str, material: Mapping[str, Any]) -> Melt | None:
    """The power law that two melt flow rates at one temperature tell, where the activation energy is told."""
    activation = _number(material, "activation_energy", "kJ/mol")
    density = _number(material, "melt_density", "kg/m3")
    points: dict[float, list[tuple[float, float]]] = {}
    for entry in _of_lot(book.standing, lot):
        data = entry.data
        if entry.what not in (What.PRE_ANALYSIS, What.RESULT) or data.get("what") != "melt-flow-rate":
            continue
        if str(data.get("of", Of.FEED if entry.what is What.PRE_ANALYSIS else Of.PELLETS)) != Of.FEED:
            continue
        mfr, less = measured("melt-flow-rate", str(data["value"]), Of.FEED)
        if not less:
            cel = quantity(str(data["temperature"]), "Cel")
            points.setdefault(cel, []).append((quantity(str(data["load"]), "kg"), mfr))
    for cel, found in sorted(points.items()):
        (low_kg, low), (high_kg, high) = min(found), max(found)
        exponent = exponent_of_two_loads(low, low_kg, high, high_kg) if high_kg > low_kg else float("nan")
        if isfinite(exponent) and activation is not None:
            consistency = consistency_pa_s_n(low, low_kg, density, exponent) if density else float("nan")
            return Melt(
                exponent, activation * 1000, consistency if isfinite(consistency) else None, cel, density
            )
    return None


def _heat(material: Mapping[str, Any]) -> MaterialHeat | None:
    capacity, melting = _number(material, "heat_capacity", "kJ/(kg.K)"), _number(material, "melting", "kJ/kg")
    pellet = _number(material, "pellet_temperature", "Cel")
    if capacity is None or melting is None or pellet is None:
        return None
    return MaterialHeat(capacity, melting, pellet)


def _cut(book: Book) -> Cut | None:
    plates = book.all_of(What.DIE)
    if not plates:
        return None
    data = plates[-1].data
    hole_mm = quantity(str(data["hole"]), "mm")
    return Cut(int(data["holes"]), hole_mm, int(data["knives"]), float(data.get("swell") or AREA_SWELL))


def _dirt(results: Sequence[LabResult]) -> tuple[Measured | None, Measured | None, Measured | None]:
    """Shares of dirt of feed, discharge and pellets, all by one method: a balance mixes none."""
    for names in (("filterable-dirt",) * 3, ("ash",) * 3, ("filterable-dirt", "contaminant-share", "ash")):
        found = [
            _first(results, name, of)
            for name, of in zip(names, (Of.FEED, Of.DISCHARGE, Of.PELLETS), strict=True)
        ]
        if found[0] is not None and found[1] is not None:
            feed, discharge, pellets = (None if m is None else _hundredth(m) for m in found)
            return feed, discharge, pellets if len(set(names)) == 1 else None
    return None, None, None


def _hundredth(percent: Measured) -> Measured:
    return Measured(
        percent.value / 100, {k: v / 100 for k, v in percent.parts.items()}, percent.unknown, percent.tags
    )


def _first(results: Iterable[LabResult], what: str, of: Of) -> Measured | None:
    """The result of that measure; the one with the most replicates where there are several."""
    found = [r for r in results if r.what == what and r.of is of and not r.less_than]
    if not found:
        return None
    one = max(found, key=lambda r: (r.n, max(r.entries)))
    return told(one.value, f"the {what} of the {of}", one.uncertain or 0.0)


def _moistures(book: Book, results: Iterable[LabResult]) -> tuple[tuple[int, float], ...]:
    taken = {str(e.data["name"]): e.time_ns for e in book.all_of(What.SAMPLE)}
    found = [
        (taken[r.sample], r.value)
        for r in results
        if r.what == "moisture" and r.of is Of.PELLETS and not r.less_than and r.sample in taken
    ]
    return tuple(sorted(found))


def _of_pellets(sample: Entry) -> bool:
    return str(sample.data.get("of", Of.PELLETS)) == Of.PELLETS


def _number(data: Mapping[str, Any], key: str, unit: str) -> float | None:
    written = data.get(key)
    return None if written is None else quantity(str(written), unit)
