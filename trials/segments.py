"""What happened in a stretch of time: phases, settings changes, cleanings, alarms, notes on one axis."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from historian.catalogue import meaning_of
from historian.frame import NS, Series
from historian.quality import is_bad
from historian.store import Store
from process.cycles import Cycle, cycles_of
from process.features import features_of, tells_phase
from process.phases import Phase, phases_of
from rules.block import Block, Held
from rules.entry import Entry, EntryKind
from rules.line import LineFacts
from trials.bars import AlarmBar, alarm_bars, calls_nobody
from trials.record import Note

DP, INLET, OUTLET = "filter.dp.calc", "filter.inlet.pressure.pv", "filter.outlet.pressure.pv"
WIPER, DIE = "filter.wiper.state", "die.pressure.pv"

# A phase is told by what came before: derived from the longest stretch that a phase's signs look back over.
PHASE_LEAD_NS = 3600 * NS
# A cleaning that began in the stretch ends and settles after it; its peak lies before.
CLEANING_LEAD_NS = 600 * NS
CLEANING_TAIL_NS = 60 * NS
_SAME = 1e-6

ONE_TURN_NS = 30 * NS
"""Steps of one set-point that are closer than this are one change. common practice, no source."""


@dataclass(frozen=True, slots=True)
class SettingChange:
    """Somebody set something to another value.

    Attributes:
        time_ns: source time of the first sample with the new value.
        old, new: in the unit.
    """

    time_ns: int
    path: str
    old: float
    new: float
    unit: str


@dataclass(frozen=True, slots=True)
class Mark:
    """Something to be read at one time.

    Attributes:
        kind: "note", "mark", "finding" (one that calls nobody), or the kind of a trial's note.
        by: who says so; "rules" for findings.
    """

    time_ns: int
    kind: str
    by: str
    text: str


@dataclass(frozen=True, slots=True)
class Timeline:
    """What happened from start to end, each list in the order of time."""

    start_ns: int
    end_ns: int
    phases: list[Phase]
    settings: list[SettingChange]
    cleanings: list[Cycle]
    alarms: list[AlarmBar]
    marks: list[Mark]


def timeline(
    store: Store,
    entries: Iterable[Entry],
    start_ns: int,
    end_ns: int,
    facts: LineFacts,
    notes: Iterable[Note] = (),
    *,
    materials_ns: Iterable[int] = (),
    screens_ns: Iterable[int] = (),
) -> Timeline:
    """What happened in start ≤ time < end.

    Args:
        entries: of the journal, in the order in which they were written, from before the start.
        notes: of the trial record.
        materials_ns, screens_ns: when another lot or another screen was noted.
    """
    tags = store.tags()
    setpoints = store.read([p for p in tags if p.endswith(".sp")], start_ns, end_ns, bound_before=True)
    units = {path: tag.unit for path, tag in tags.items()}
    filter_paths = [p for p in (DP, INLET, OUTLET, WIPER, DIE) if p in tags]
    screen = store.read(
        filter_paths, start_ns - CLEANING_LEAD_NS, end_ns + CLEANING_TAIL_NS, bound_before=True
    )
    line_paths = [p for p in tags if tells_phase(p)]
    line = store.read(line_paths, start_ns - PHASE_LEAD_NS, end_ns, bound_before=True)
    all_entries = list(entries)
    return Timeline(
        start_ns,
        end_ns,
        phases(
            line,
            start_ns,
            end_ns,
            facts,
            lead_ns=PHASE_LEAD_NS,
            materials_ns=materials_ns,
            screens_ns=screens_ns,
        ),
        [c for c in settings_changes(setpoints, units) if c.time_ns >= start_ns],
        [c for c in cleanings(screen) if start_ns <= c.start_ns < end_ns],
        [bar for bar in alarm_bars(all_entries) if bar.meets(start_ns, end_ns)],
        [m for m in _marks(all_entries, notes) if start_ns <= m.time_ns < end_ns],
    )


def settings_changes(
    series_by_path: Mapping[str, Series], units: Mapping[str, str] | None = None
) -> list[SettingChange]:
    """Every change of a set-point (a path that ends in ``.sp``), in the order of time.

    Bad samples and samples without a value are passed over; a first value is no change. Steps that follow
    each other within ``ONE_TURN_NS`` are one change: somebody turns it up step by step.

    Args:
        units: path → UCUM code; the catalogue's for paths that are not named.

    Example:
        >>> made = settings_changes({"doser.rate.sp": Series.of([1, 2, 3], [600.0, 600.0, 640.0], 0)})
        >>> [(c.time_ns, c.old, c.new, c.unit) for c in made]
        [(3, 600.0, 640.0, 'kg/h')]
    """
    changes = []
    for path, series in series_by_path.items():
        if not path.endswith(".sp"):
            continue
        usable = ~is_bad(series.quality) & ~np.isnan(series.value)
        time_ns, value = series.time_ns[usable], series.value[usable]
        at = np.flatnonzero(~np.isclose(value[1:], value[:-1], rtol=_SAME, atol=_SAME)) + 1
        unit = _unit(path, units or {})
        for turn in np.split(at, np.flatnonzero(np.diff(time_ns[at]) > ONE_TURN_NS) + 1) if len(at) else ():
            old, new = float(value[turn[0] - 1]), float(value[turn[-1]])
            changes.append(SettingChange(int(time_ns[turn[0]]), path, old, new, unit))
    return sorted(changes, key=lambda c: (c.time_ns, c.path))


def cleanings(series_by_path: Mapping[str, Series]) -> list[Cycle]:
    """Every cleaning of the screen whose end and settling the samples hold.

    Args:
        series_by_path: wiper state and pressure difference (or both pressures); the die pressure if there is
            one. Without wiper or pressure difference there are none to find.
    """
    dp_paths = (DP,) if DP in series_by_path else (INLET, OUTLET)
    if any(p not in series_by_path for p in (WIPER, *dp_paths)):
        return []
    paths = (WIPER, *dp_paths, *((DIE,) if DIE in series_by_path else ()))
    rows = Held(paths).rows(Block({p: series_by_path[p] for p in paths}, 0))
    columns = {path: rows.value[:, i] for i, path in enumerate(paths)}
    dp_bar = columns[DP] if DP in columns else columns[INLET] - columns[OUTLET]
    return cycles_of(rows.time_ns, dp_bar, columns[WIPER], columns.get(DIE))


def phases(
    series_by_path: Mapping[str, Series],
    start_ns: int,
    end_ns: int,
    facts: LineFacts,
    *,
    lead_ns: int = 0,
    materials_ns: Iterable[int] = (),
    screens_ns: Iterable[int] = (),
) -> list[Phase]:
    """The phases from start to end, cut to that stretch.

    Args:
        lead_ns: how much before the start is looked at, so that the first phase is known.
    """
    signals = {
        path: (s.time_ns, np.where(is_bad(s.quality), np.nan, s.value)) for path, s in series_by_path.items()
    }
    found = phases_of(
        features_of(signals, start_ns - lead_ns, end_ns),
        facts.planned_kg_h,
        materials_ns=materials_ns,
        screens_ns=screens_ns,
    )
    return [
        replace(p, start_ns=max(p.start_ns, start_ns), end_ns=min(p.end_ns, end_ns))
        for p in found
        if p.end_ns > start_ns
    ]


def _unit(path: str, units: Mapping[str, str]) -> str:
    meaning = meaning_of(path)
    return units.get(path, meaning.unit if meaning is not None else "1")


def _marks(entries: Sequence[Entry], notes: Iterable[Note]) -> list[Mark]:
    """Notes, marks, and findings that call nobody, in the order of time."""
    marks = [Mark(n.time_ns, n.kind, n.by, n.text) for n in notes]
    for entry in entries:
        if entry.kind is EntryKind.NOTE:
            marks.append(
                Mark(entry.time_ns, str(entry.data.get("what", "note")), entry.by, entry.data["text"])
            )
        elif entry.kind is EntryKind.FINDING and entry.data["active"] and calls_nobody(entry):
            marks.append(Mark(entry.time_ns, "finding", entry.by, entry.data["sentence"]))
    return sorted(marks, key=lambda m: m.time_ns)
