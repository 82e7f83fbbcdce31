"""Makes a line's maintenance digest from its journal, store and register."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from importlib.util import find_spec
from itertools import pairwise
from math import isnan
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
import structlog

from historian.errors import MeltledgerError, WrongInput
from historian.frame import NS
from historian.store import Store
from historian.tags import Tag, TagKind
from meltledger.config import LineConfig
from meltledger.measured import all_tags
from meltledger.register import load_register
from meltledger.stores import store_or_none_yet
from rules.detectors import detectors_for
from rules.detectors.recording.sources import HEARTBEAT
from rules.digest import KINDS, Digest, Period, Wanted, digest_of, pictures_of, repairs_until
from rules.digest.hours import CLEANINGS, KNIFE_HOURS, SCREW, Turning, Worn, worn_of
from rules.digest.sight import Stretch
from rules.digest.told import BLADE, KNIVES, SCREEN
from rules.entry import Entry, EntryKind
from rules.journal import Journal
from rules.review import unrecorded
from rules.table.rationalisation import JUDGED, rationalised

LATE_NS: Final = 3_700 * NS
"""A spell without sight is told at the next whole hour at the latest."""
_FAILED_BACK_NS: Final = 7 * 86_400 * NS
"""How far back a rule that failed is looked for."""
_WORN_BACK_NS: Final = 400 * 86_400 * NS
_TEN_MIN_NS: Final = 600 * NS
_SILENT_NS: Final = 90 * NS
"""The heartbeat is repeated every minute; a longer silence is time without record."""
_LEAST_SHOWN_NS: Final = 900 * NS
_COLUMNS: Final = 600

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Made:
    """A digest with its pictures.

    Attributes:
        pictures: name → PNG; none where the package that draws them is not installed.
    """

    digest: Digest
    pictures: Mapping[str, bytes]


def make_digest(
    config: LineConfig, period: Period, *, in_doubt: Sequence[str] = (), now_ns: int, drawn: bool = True
) -> Made:
    """The digest of a period.

    Args:
        in_doubt: earlier digests of which it is not known whether they arrived, in words.
        now_ns: the period is cut here when it is not over; UTC nanoseconds.
        drawn: whether pictures are wanted.

    Raises:
        WrongInput: there is no journal yet, or the period has not begun.
    """
    if not config.journal.exists():
        raise WrongInput(f"{config.journal}: there is no journal here yet; start `meltledger run` first")
    if period.start_ns >= now_ns:
        raise WrongInput("that time has not begun yet; give one that has")
    if period.end_ns > now_ns:
        period = Period(period.kind, period.start_ns, now_ns)
    with closing(Journal.open(config.journal, mode="read")) as journal:
        entries = _entries(journal, period)
        first = [e.time_ns for _, e in journal.entries_after(0, 1)]
    with store_or_none_yet(config) as store:
        digest = digest_of(
            entries,
            period,
            line=config.facts.name,
            zone=config.file.line.zone,
            unrecorded=_unrecorded(store, entries, first, period),
            judged=len(_judged(config)),
            not_judged=_not_judged(config),
            worn=_worn(config, store, entries, period),
            number_of=_Numbers(config, period.end_ns),
            in_doubt=in_doubt,
            simulated=config.simulated,
        )
        return Made(digest, _pictures(store, pictures_of(digest), ZoneInfo(digest.zone)) if drawn else {})


def parts_of_line(config: LineConfig, journal: Journal) -> list[str]:
    """The paths that a repair may name: what was found of, what wears, what the line has."""
    found = {e.subject for e in journal.entries(kinds=(EntryKind.FINDING,))}
    return sorted({*found, *_wearing(config)} - {""})


def _entries(journal: Journal, period: Period) -> list[Entry]:
    lasting = [k for k in KINDS if k is not EntryKind.EVENT]
    kept = journal.entries(None, period.end_ns, lasting)
    events = journal.entries(period.start_ns - _FAILED_BACK_NS, period.end_ns + LATE_NS, (EntryKind.EVENT,))
    return sorted([*kept, *events], key=lambda e: e.time_ns)


def _unrecorded(
    store: Store, entries: Sequence[Entry], first_ns: Sequence[int], period: Period
) -> list[Stretch]:
    """When the recorder was not at work: what it said itself, and where its heartbeat is missing."""
    found = [(s.start_ns, s.until(period.end_ns)) for s in unrecorded(entries)]
    if HEARTBEAT not in store.tags():
        return found or [(period.start_ns, min([*first_ns, period.end_ns]))]
    around = (period.start_ns - _SILENT_NS, period.end_ns + _SILENT_NS)
    times = store.read([HEARTBEAT], *around)[HEARTBEAT].time_ns.tolist()
    beats = [min([period.start_ns, *times[:1]]), *times, max([period.end_ns, *times[-1:]])]
    return [*found, *((a, b) for a, b in pairwise(beats) if b - a > _SILENT_NS)]


def _judged(config: LineConfig) -> set[str]:
    tags = {t.path: t for t in all_tags(config)}
    return {d.rule for d in detectors_for(config.facts, tags)}


def _not_judged(config: LineConfig) -> dict[str, str]:
    rows = (r.texts for r in rationalised(config.facts, _judged(config)))
    return {r["rule"]: r["judged"].removeprefix("no: ") for r in rows if r["judged"] != JUDGED}


def _wearing(config: LineConfig) -> list[str]:
    """What wears on the line: screen, blade, knives, plates and their probes."""
    paths = {t.path for t in config.tags}
    parts = [SCREEN, BLADE] if config.facts.melt_filter is not None else []
    if any(p.startswith("pelletizer.") for p in paths):
        parts.append(KNIVES)
    plates = config.facts.melt_filter.plates if config.facts.melt_filter is not None else 0
    zones = [f"filter.plate.{n}" for n in range(1, plates + 1)]
    return [*parts, *zones, *(f"{zone}.temp" for zone in zones)]


def _worn(config: LineConfig, store: Store, entries: Sequence[Entry], period: Period) -> list[Worn]:
    repairs = repairs_until(entries, period.end_ns)
    return worn_of(
        _wearing(config),
        repairs,
        _turning(store, period.end_ns) if repairs else None,
        period.end_ns,
        knife_hours=_last(store, KNIFE_HOURS, period),
        cleanings=_last(store, CLEANINGS, period),
    )


def _turning(store: Store, until_ns: int) -> Turning | None:
    span = store.span()
    if SCREW not in store.tags() or span is None:
        return None
    from_ns = max(span[0], until_ns - _WORN_BACK_NS)
    if from_ns >= until_ns:
        return None
    rows = store.rollup([SCREW], from_ns, until_ns, _TEN_MIN_NS)
    return Turning(rows.start_ns, rows.maximum, _TEN_MIN_NS, from_ns)


def _last(store: Store, path: str, period: Period) -> float | None:
    """A counter's last value in the period; None when it has none there."""
    if path not in store.tags():
        return None
    series = store.read([path], period.start_ns, period.end_ns)[path]
    known = series.value[~np.isnan(series.value)]
    return float(known[-1]) if len(known) else None


class _Numbers:
    """Part numbers as the line's file and its register of sensors tell them."""

    def __init__(self, config: LineConfig, at_ns: int) -> None:
        self._parts = config.file.digest.part if config.file.digest is not None else ()
        try:
            register = load_register(config)
            sensors = [s for s in register.sensors if register.sensor_at(s.tag, at_ns) is s]
        except MeltledgerError as error:
            # A digest without part numbers is better than none; `check` tells the register's faults.
            log.warning("register_not_read", reason=str(error))
            sensors = []
        self._sensors = {s.tag: f"{s.kind}, serial {s.serial}".removeprefix(", ") for s in sensors}

    def __call__(self, part: str) -> str:
        told = next((p.number for p in self._parts if p.is_of(part)), "")
        return told or self._sensors.get(part) or self._sensors.get(f"{part}.pv", "")


def _pictures(store: Store, wanted: Sequence[Wanted], zone: ZoneInfo) -> dict[str, bytes]:
    if not wanted or find_spec("matplotlib") is None:
        return {}
    tags = store.tags()
    return {one.key: png for one in wanted if (png := _picture(store, tags, one, zone)) is not None}


def _picture(store: Store, tags: Mapping[str, Tag], wanted: Wanted, zone: ZoneInfo) -> bytes | None:
    from rules.pictures import Trace, evidence_png

    known = [tags[p] for p in wanted.tags if p in tags]
    if not known:
        return None
    looked = (wanted.start_ns, max(wanted.end_ns, wanted.start_ns + NS))
    around_ns = max((looked[1] - looked[0]) // 4, (_LEAST_SHOWN_NS - (looked[1] - looked[0])) // 2)
    shown = (max(0, looked[0] - around_ns), looked[1] + around_ns)
    traces = []
    for tag in known:
        outline = store.envelope(tag.path, *shown, _COLUMNS)
        step = tag.kind is not TagKind.ANALOG
        traces.append(Trace(tag.path, tag.unit, outline.time_ns, outline.value, step))
    if all(isnan(v) for t in traces for v in t.value.tolist()):
        return None
    return evidence_png(traces, shown, looked, zone)
