"""What is wrong with a store, from what was seen of it. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from itertools import pairwise
from typing import Final

from historian.archive.manifest import HOUR_NS, Manifest
from historian.care.findings import Facts, FileFact, Finding, RowFact, Trouble
from historian.embedded.upkeep import GRACE_NS
from historian.frame import NS
from historian.rollups.listed import INTERVALS, RollupList

SEALED_WITHIN_NS: Final = 2 * HOUR_NS
"""How long after the arrival of a frame its hour may stay unsealed before that is told."""

_THE_WRITER: Final = "the `meltledger run` at work here should have sealed it: its journal says what is wrong"
_NOBODY: Final = "the next `meltledger run` seals it, or --repair"


def judge(facts: Facts, *, now_ns: int = 0, is_written: bool = False) -> list[Finding]:
    """Everything that is not as it should be, the worst kinds first.

    Args:
        now_ns: UTC; tells which hours are closed where no writer is at work; 0 when nobody asks.
        is_written: whether a writer is at work, so that what is due is its business.
    """
    manifest = facts.manifest or Manifest("")
    rollups = facts.rollups or RollupList()
    found = [
        *_lists(facts),
        *_files("archive", manifest, facts.archive_files),
        *_files("rollups", rollups, facts.rollup_files),
        *_rows(facts.rows),
        *_overlaps(manifest),
        *_numbers(manifest, facts.rows, facts.passed_over),
        *_unsealed(manifest, facts.rows, 0 if is_written else now_ns, is_written),
        *_behind(manifest, rollups),
        *_holes(manifest, facts.rows),
    ]
    # Without its list, every file would look like a leaving.
    if not facts.manifest_fault:
        found += _leftovers("archive", manifest, facts.archive_files)
    if not facts.rollups_fault:
        found += _leftovers("rollups", rollups, facts.rollup_files)
    order = list(Trouble)
    return sorted(found, key=lambda f: order.index(f.trouble))


def hours_of(spans: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Spans of time, both ends inside, as runs of whole UTC hours [start, end), joined and in order.

    Example:
        >>> h = HOUR_NS
        >>> [(a // h, b // h) for a, b in hours_of([(0, 5), (h, h), (4 * h, 5 * h - 1)])]
        [(0, 2), (4, 5)]
    """
    runs: list[tuple[int, int]] = []
    for low, high in sorted((a // HOUR_NS * HOUR_NS, (b // HOUR_NS + 1) * HOUR_NS) for a, b in spans):
        if runs and low <= runs[-1][1]:
            runs[-1] = (runs[-1][0], max(runs[-1][1], high))
        else:
            runs.append((low, high))
    return runs


def said(time_ns: int) -> str:
    """A time as a person reads it.

    Example:
        >>> said(1_893_456_000 * NS)
        '2030-01-01 00:00 UTC'
    """
    return f"{datetime.fromtimestamp(time_ns // NS, UTC):%Y-%m-%d %H:%M} UTC"


def _lists(facts: Facts) -> Iterator[Finding]:
    for name, fault in (
        ("archive/manifest.json", facts.manifest_fault),
        ("rollups/manifest.json", facts.rollups_fault),
        ("recent.db", facts.recent_fault),
        ("tags.json", facts.tags_fault),
    ):
        if fault:
            yield Finding(Trouble.LIST, name, fault)


def _files(folder: str, listed: Manifest | RollupList, there: Mapping[str, FileFact]) -> Iterator[Finding]:
    """Listed files that are not there or not as they were written."""
    for path, expected, start_ns, end_ns in _entries(listed):
        fact = there.get(path)
        window = f"it holds {said(start_ns)} to {said(end_ns)}"
        if fact is None:
            yield Finding(Trouble.MISSING, f"{folder}/{path}", f"is not there; {window}", start_ns, end_ns)
        elif fact != expected:
            what = (
                f"has {fact.bytes} bytes instead of {expected.bytes}"
                if fact.bytes != expected.bytes
                else "does not match its check sum"
            )
            yield Finding(Trouble.DAMAGED, f"{folder}/{path}", f"{what}; {window}", start_ns, end_ns)


def _entries(listed: Manifest | RollupList) -> Iterator[tuple[str, FileFact, int, int]]:
    if isinstance(listed, Manifest):
        for segment in listed.segments:
            for f in segment.files:
                yield f.path, FileFact(f.bytes, f.sha256), segment.start_ns, segment.end_ns
    else:
        for r in listed.files:
            yield r.path, FileFact(r.bytes, r.sha256), r.start_ns, r.end_ns


def _rows(rows: Sequence[RowFact]) -> Iterator[Finding]:
    for row in rows:
        if row.fault:
            where = f"recent.db, row {row.seq}"
            yield Finding(Trouble.DAMAGED, where, row.fault, row.first_ns, row.last_ns + 1)


def _overlaps(manifest: Manifest) -> Iterator[Finding]:
    latest = None
    for segment in sorted(manifest.segments, key=lambda s: (s.start_ns, -s.end_ns)):
        if latest is not None and segment.start_ns < latest.end_ns:
            text = (
                f"the {segment.level} from {said(segment.start_ns)} lies in the {latest.level} "
                f"from {said(latest.start_ns)}"
            )
            end_ns = min(segment.end_ns, latest.end_ns)
            yield Finding(Trouble.OVERLAP, "archive/manifest.json", text, segment.start_ns, end_ns)
        if latest is None or segment.end_ns > latest.end_ns:
            latest = segment


def _numbers(manifest: Manifest, rows: Sequence[RowFact], passed_over: frozenset[int]) -> Iterator[Finding]:
    """Frames that are neither sealed nor recent: arrival numbers rise by one.

    What was passed over on purpose is not missing: it was told when recent.db was made anew.
    """
    reached = manifest.sealed_seq
    for row in rows:
        if row.first_seq > reached + 1 and row.first_seq not in passed_over:
            text = f"the frames with arrival numbers {reached + 1} to {row.first_seq - 1} are not there"
            yield Finding(Trouble.NUMBERS, f"recent.db, before row {row.seq}", text)
        reached = max(reached, row.seq)


def _unsealed(
    manifest: Manifest, rows: Sequence[RowFact], now_ns: int, is_written: bool
) -> Iterator[Finding]:
    """What is overdue by the frames' own arrivals; else what the clock says is due."""
    newest_ns = max((row.arrival_ns for row in rows), default=0)
    left = [row for row in rows if row.samples and row.seq > manifest.sealed_seq]
    late = [(r.first_ns, r.last_ns) for r in left if r.arrival_ns < newest_ns - SEALED_WITHIN_NS]
    who = _THE_WRITER if is_written else _NOBODY
    for low, high in hours_of(late):
        text = f"{said(low)} to {said(high)} is not sealed yet; it is safe in recent.db, and {who}"
        yield Finding(Trouble.UNSEALED, "recent.db", text, low, high)
    closed_ns = (now_ns - GRACE_NS) // HOUR_NS * HOUR_NS
    due = [(row.first_ns, row.last_ns) for row in left if row.arrival_ns < closed_ns]
    for low, high in hours_of(due) if not late else ():
        text = f"{said(low)} to {said(high)} is to be sealed; it is safe in recent.db, and {_NOBODY}"
        yield Finding(Trouble.DUE, "recent.db", text, low, high)


def _behind(manifest: Manifest, rollups: RollupList) -> Iterator[Finding]:
    for name, interval_ns in INTERVALS.items():
        behind = rollups.behind(manifest.segments, interval_ns)
        for low, high in hours_of((s.start_ns, s.end_ns - 1) for s in behind):
            text = (
                f"one-{name} rollups of {said(low)} to {said(high)} are to be made; raw samples serve so far"
            )
            yield Finding(Trouble.BEHIND, "rollups/manifest.json", text, low, high)


def _holes(manifest: Manifest, rows: Sequence[RowFact]) -> Iterator[Finding]:
    """Hours between the first and the last sample in which nothing was kept."""
    spans = [(s.start_ns, s.end_ns - 1) for s in manifest.segments]
    spans += [(row.first_ns, row.last_ns) for row in rows if row.samples]
    for (_, low), (high, _) in pairwise(hours_of(spans)):
        text = f"no sample from {said(low)} to {said(high)}: nothing was recorded, or its time was up"
        yield Finding(Trouble.HOLE, "the record", text, low, high)


def _leftovers(
    folder: str, listed: Manifest | RollupList, there: Mapping[str, FileFact]
) -> Iterator[Finding]:
    named = {path for path, *_ in _entries(listed)} | set(listed.retired)
    for path in sorted(set(there) - named):
        text = "no list names it: work that was cut short left it behind"
        yield Finding(Trouble.LEFTOVER, f"{folder}/{path}", text)
