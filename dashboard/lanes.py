"""The lanes of the ledger: phases, settings, alarms, cleanings, notes, as they stand in store and journal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isnan

from dashboard.acts import TAKEN_BACK
from dashboard.alarm_bars import bars_of, lines_of
from dashboard.cleaning_watch import cycles_between
from dashboard.ports import JournalPort, TrialNote
from dashboard.views import AlarmLine, Band, Tick
from dashboard.words import clock_text, number_text, place_text, quantity_text
from historian.frame import NS
from historian.store import Store
from historian.tags import pattern_of
from process.phase_names import STEADY
from process.phases import Phase
from rules.entry import ActKind, Entry, EntryKind
from trials.bars import alarm_bars, calls_nobody
from trials.segments import (
    CLEANING_LEAD_NS,
    CLEANING_TAIL_NS,
    SettingChange,
    settings_changes,
)

STANDING_BEFORE_NS = 24 * 3600 * NS
"""How far before a window an alarm may have begun and still be drawn in it."""

_ALARM_KINDS = (EntryKind.FINDING, EntryKind.TRANSITION)
_SAME_MOMENT_NS = 2 * NS


@dataclass(frozen=True, slots=True)
class Lanes:
    """What happened in a window, lane by lane."""

    phases: tuple[Band, ...] = ()
    settings: tuple[Tick, ...] = ()
    alarms: tuple[Band, ...] = ()
    cleanings: tuple[Tick, ...] = ()
    notes: tuple[Tick, ...] = ()
    lines: tuple[AlarmLine, ...] = ()


def lanes_of(
    store: Store,
    journal: JournalPort,
    phases: Sequence[Phase],
    notes: Sequence[TrialNote],
    window: tuple[int, int],
    offset_ms: int,
    zone: str,
) -> Lanes:
    """Read every lane of a window."""
    start_ns, end_ns = window
    entries = journal.entries(start_ns - STANDING_BEFORE_NS, end_ns, _ALARM_KINDS)
    found = [b for b in alarm_bars(entries) if b.meets(start_ns, end_ns)]
    called_nobody = [e for e in entries if _only_written(e) and e.time_ns >= start_ns]
    return Lanes(
        phases=phases_of(phases, window, offset_ms, zone),
        settings=settings_of(store, start_ns, end_ns, offset_ms, zone),
        alarms=bars_of(found, window, offset_ms, zone),
        cleanings=cleanings_of(store, start_ns, end_ns, offset_ms, zone),
        notes=notes_of(
            [*journal.entries(start_ns, end_ns, (EntryKind.NOTE,)), *called_nobody], notes, offset_ms, zone
        ),
        lines=lines_of(found, window, zone),
    )


def _only_written(entry: Entry) -> bool:
    """Whether it is a finding that calls nobody: it stands among the notes."""
    return entry.kind is EntryKind.FINDING and bool(entry.data.get("active")) and calls_nobody(entry)


def settings_of(store: Store, start_ns: int, end_ns: int, offset_ms: int, zone: str) -> tuple[Tick, ...]:
    """Every change of a set-point; zones that changed alike at one moment are one tick."""
    tags = store.tags()
    paths = [p for p in tags if p.endswith(".sp")]
    found = store.read(paths, start_ns, end_ns, bound_before=True) if paths else {}
    changes = settings_changes(found, {p: tags[p].unit for p in paths})
    left = [c for c in changes if start_ns <= c.time_ns < end_ns]
    ticks: list[Tick] = []
    while left:
        first = left[0]
        alike = [c for c in left if _alike(first, c)]
        left = [c for c in left if c not in alike]
        what = tags[first.path].text or place_text(first.path)
        if len(alike) > 1:
            what = f"{len(alike)} zones: {what.split(', ')[-1]}"
        text = f"{number_text(first.old, first.unit)} to {quantity_text(first.new, first.unit)}"
        hover = f"{clock_text(first.time_ns, zone)}: {what}<br>{text}"
        ticks.append(Tick(first.time_ns / 1e6 + offset_ms, text, hover))
    return tuple(ticks)


def _alike(one: SettingChange, other: SettingChange) -> bool:
    """Whether two changes are one to a person: the same kind of zone, the same values, the same moment."""
    return (
        pattern_of(one.path) == pattern_of(other.path)
        and (one.old, one.new) == (other.old, other.new)
        and other.time_ns - one.time_ns <= _SAME_MOMENT_NS
    )


def cleanings_of(store: Store, start_ns: int, end_ns: int, offset_ms: int, zone: str) -> tuple[Tick, ...]:
    """Every cleaning as a tick; its height is how far the pressure came down."""
    read = cycles_between(store, start_ns - CLEANING_LEAD_NS, end_ns + CLEANING_TAIL_NS)
    cycles = [c for c in read if start_ns <= c.start_ns < end_ns]
    deepest = max((c.amplitude_bar for c in cycles if not isnan(c.amplitude_bar)), default=1.0) or 1.0
    return tuple(
        Tick(
            c.start_ns / 1e6 + offset_ms,
            "",
            f"{clock_text(c.start_ns, zone)}: {quantity_text(c.peak_bar, 'bar')} before, "
            f"{quantity_text(c.trough_bar, 'bar')} left after" + (f"<br>{c.flaw}" if c.flaw else ""),
            0.25 if isnan(c.amplitude_bar) else max(0.15, c.amplitude_bar / deepest),
        )
        for c in cycles
    )


def notes_of(
    entries: Sequence[Entry], notes: Sequence[TrialNote], offset_ms: int, zone: str
) -> tuple[Tick, ...]:
    """Notes and marks that nobody took back, from the journal and the trial record, by time."""
    told = [
        (e.time_ns, str(e.data.get("text") or e.data.get("sentence") or ""), e.by)
        for e in standing_notes(entries)
    ]
    told += [(n.time_ns, n.text, n.by) for n in notes]
    return tuple(
        Tick(time_ns / 1e6 + offset_ms, text, f"{clock_text(time_ns, zone)}: {text}<br>{by}")
        for time_ns, text, by in sorted(told)
    )


def standing_notes(entries: Sequence[Entry]) -> list[Entry]:
    """Notes and marks without those that a later mark took back, and without the taking back."""
    taken_back = {str(e.data.get("reason")) for e in entries if _takes_back(e.data)}
    return [e for e in entries if not _takes_back(e.data) and f"act {e.data.get('act')}" not in taken_back]


def standing_marks(entries: Sequence[Entry]) -> list[Entry]:
    """The marks alone."""
    return [e for e in standing_notes(entries) if e.data.get("what") == ActKind.MARK]


def _takes_back(data: Mapping[str, object]) -> bool:
    return str(data.get("text", "")).startswith(TAKEN_BACK)


def phases_of(found: Sequence[Phase], window: tuple[int, int], offset_ms: int, zone: str) -> tuple[Band, ...]:
    """The phases as named bands, cut at the window's edges; steady running stands out."""
    return tuple(
        Band(
            max(p.start_ns, window[0]) / 1e6 + offset_ms,
            min(p.end_ns, window[1]) / 1e6 + offset_ms,
            p.name,
            f"{p.name}, {clock_text(p.start_ns, zone)}–{clock_text(p.end_ns, zone)}<br>{p.reason}",
            heavy=p.name == STEADY,
        )
        for p in found
    )
