"""Which stretches of a trial are one operating point: nothing set otherwise, one screen, one lot. Pure."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Final

import numpy as np

from historian.catalogue import meaning_of
from historian.frame import NS, Series
from historian.quality import is_bad
from process.phase_names import MATERIAL_CHANGE
from process.phases import Phase
from rules.review import Window
from trials.bars import AlarmBar
from trials.figures.windows import steady_windows
from trials.outcome.outcome import Excluded, Stretch
from trials.record.book import Book
from trials.record.entries import Entry, What
from trials.sittings import Sitting

LEAST_S: Final = 300.0
"""A shorter rest of a steady window is no stretch of its own. common practice, no source."""

FLUSH_S: Final = 550.0
"""After another lot came: five residence times of about 50 s, and five minutes for what lies in dead corners.

common practice, no source."""

SAME_K: Final = 0.5
SAME_SHARE: Final = 0.02
"""Set-points that differ by less are the same operating point. common practice, no source: both."""

_EXCLUDING: Final = {
    "screen-torn": "the screen was torn",
    "plate-out": "a heater plate was out of use",
}


def excluded_time(
    phases: Iterable[Phase], bars: Iterable[AlarmBar], book: Book, end_ns: int
) -> tuple[Excluded, ...]:
    """Time of which no figure speaks though the line may have run steadily, in the order of time.

    A torn screen counts until another one is in, whether or not its alarm has returned.
    """
    screens = [e.time_ns for e in book.all_of(What.SCREEN)]
    found = [
        Excluded(Window(p.start_ns, p.end_ns), "the material was changed")
        for p in phases
        if p.name == MATERIAL_CHANGE
    ]
    for lot in lots_after_the_first(book):
        until_ns = min(end_ns, lot.time_ns + round(FLUSH_S * NS))
        found.append(Excluded(Window(lot.time_ns, until_ns), "another lot was on its way through"))
    for bar in bars:
        why = _EXCLUDING.get(bar.rule)
        if why is None:
            continue
        until_ns = end_ns if bar.end_ns is None else bar.end_ns
        if bar.rule == "screen-torn":
            until_ns = min([t for t in screens if t > bar.start_ns], default=end_ns)
        found.append(Excluded(Window(bar.start_ns, min(until_ns, end_ns)), why))
    return tuple(sorted((e for e in found if e.window.s > 0), key=lambda e: e.window.start_ns))


def stretches_of(
    phases: Iterable[Phase],
    excluded: Iterable[Excluded],
    sittings: Sequence[Sitting],
    book: Book,
    setpoints: Mapping[str, Series],
) -> list[Stretch]:
    """The steady time of a trial, cut where an operating point ends; equal points have one number.

    Args:
        setpoints: path of a set-point → its samples; each holds until the next.
    """
    steady = steady_windows(phases, [e.window for e in excluded])
    screens = [(e.time_ns, str(e.data["serial"])) for e in book.all_of(What.SCREEN)]
    lots = [(e.time_ns, _lot(e.data)) for e in book.all_of(What.LOT)]
    told = sorted([t for t, _ in (*screens, *lots)])
    cuts_ns = sorted({*told, *_turns(setpoints)})
    stretches: list[Stretch] = []
    kinds: list[tuple[Mapping[str, float], str, str]] = []
    for sitting in sittings:
        for window in _pieces(steady, sitting, cuts_ns):
            middle_ns = (window.start_ns + window.end_ns) // 2
            values = _set_at(setpoints, middle_ns)
            screen, lot = _told_at(screens, middle_ns), _told_at(lots, middle_ns)
            number = _number_of(kinds, values, screen, lot)
            last = stretches[-1] if stretches else None
            if last is not None and (last.number, last.sitting) == (number, sitting.number):
                stretches[-1] = Stretch(
                    number, sitting.number, (*last.windows, window), last.settings, screen, lot
                )
            else:
                stretches.append(Stretch(number, sitting.number, (window,), values, screen, lot))
    return stretches


def lots_after_the_first(book: Book) -> list[Entry]:
    """When another lot or bale went in; the same one told twice is none."""
    return [lot for before, lot in pairwise(book.all_of(What.LOT)) if lot.data != before.data]


def _pieces(steady: Iterable[Window], sitting: Sitting, cuts_ns: Sequence[int]) -> list[Window]:
    pieces = []
    for window in steady:
        start_ns, end_ns = max(window.start_ns, sitting.start_ns), min(window.end_ns, sitting.end_ns)
        edges = [start_ns, *(c for c in cuts_ns if start_ns < c < end_ns), end_ns]
        pieces += [Window(a, b) for a, b in pairwise(edges) if (b - a) / NS >= LEAST_S]
    return pieces


def _turns(setpoints: Mapping[str, Series]) -> list[int]:
    """When a set-point was turned by more than is the same."""
    turns: list[int] = []
    for path, series in setpoints.items():
        usable = ~is_bad(series.quality) & ~np.isnan(series.value)
        time_ns, value = series.time_ns[usable], series.value[usable]
        held = None
        for at_ns, now in zip(time_ns.tolist(), value.tolist(), strict=True):
            if held is not None and not _same(path, held, now):
                turns.append(at_ns)
            if held is None or not _same(path, held, now):
                held = now
    return turns


def _set_at(setpoints: Mapping[str, Series], time_ns: int) -> dict[str, float]:
    found = {}
    for path, series in setpoints.items():
        usable = ~is_bad(series.quality) & ~np.isnan(series.value)
        at = bisect_right(series.time_ns[usable], time_ns) - 1
        if at >= 0:
            found[path] = float(series.value[usable][at])
    return found


def _number_of(
    kinds: list[tuple[Mapping[str, float], str, str]], values: Mapping[str, float], screen: str, lot: str
) -> int:
    """The number of the operating point like this one; a new one where there is none."""
    for number, (known, its_screen, its_lot) in enumerate(kinds, start=1):
        alike = known.keys() == values.keys() and all(_same(p, known[p], values[p]) for p in values)
        if alike and (its_screen, its_lot) == (screen, lot):
            return number
    kinds.append((values, screen, lot))
    return len(kinds)


def _same(path: str, one: float, other: float) -> bool:
    meaning = meaning_of(path)
    if meaning is not None and meaning.unit == "Cel":
        return abs(one - other) <= SAME_K
    return abs(one - other) <= SAME_SHARE * max(abs(one), abs(other))


def _told_at(told: Sequence[tuple[int, str]], time_ns: int) -> str:
    """What was told last; before anything was told: what came first, which was in from the start."""
    at = bisect_right([t for t, _ in told], time_ns) - 1
    return told[max(at, 0)][1] if told else ""


def _lot(data: Mapping[str, object]) -> str:
    bale = data.get("bale")
    return f"{data['lot']}, bale {bale}" if bale is not None else str(data["lot"])
