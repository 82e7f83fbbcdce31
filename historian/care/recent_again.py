"""A new ``recent.db`` in place of one that is lost or damaged, from whatever is still there."""

from __future__ import annotations

import json
import os
import sqlite3
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np

from historian.archive.disk import Disk
from historian.archive.manifest import Manifest
from historian.archive.reader import ArchiveReader
from historian.archive.writer import load_manifest
from historian.care.look import ARCHIVE, PASSED_OVER_TO, RECENT, ROLLUPS, marks_of
from historian.care.names import Named, named, seen_in
from historian.embedded.newest import Newest
from historian.embedded.recent import Recent
from historian.embedded.rows import decode, encode
from historian.embedded.tag_list import load_tags
from historian.errors import MeltledgerError, StoredDataDamaged
from historian.frame import Frame
from historian.rollups.files import load_rollups
from historian.rollups.listed import RollupList
from historian.store import Sample
from historian.tags import Tag
from historian.told import told

PASSED_OVER: Final = 1_000_000
"""How many arrival numbers are left free, because nobody knows up to where the lost file had given them."""

_BESIDE: Final = f"{RECENT}.new"
_PARTS: Final = ("", "-wal", "-shm")
_ROW: Final = "first_seq, seq, first_ns, last_ns, arrival_ns, samples, body"


@dataclass(slots=True)
class Salvaged:
    """What can still be read of such a file.

    Attributes:
        rows: by arrival number of their last frame, each of them sound.
        tags: by number.
        newest: the newest samples up to what is sealed.
        marks: numbers from which it went on when it was made anew before.
    """

    rows: dict[int, tuple[Any, ...]] = field(default_factory=dict)
    tags: dict[int, Tag] = field(default_factory=dict)
    newest: Newest | None = None
    marks: set[int] = field(default_factory=set)


def recent_again(folder: Path, known: Mapping[str, Tag], disk: Disk) -> Iterator[str]:
    """Make ``recent.db`` anew; the lists of segments and rollups are sound by now.

    The old file goes into the folder ``damaged`` with its write-ahead log first. A stop in between leaves
    what the next call needs.

    Args:
        known: whole descriptions of tags by path, such as the line's file has.
    """
    archive = load_manifest(folder / ARCHIVE) or Manifest("")
    old = salvaged([folder / RECENT, folder / _BESIDE])
    rows = [row for seq, row in sorted(old.rows.items()) if seq > archive.sealed_seq]
    found = _named(folder, archive, old, rows, known)
    yield from _set_aside(folder, disk)
    newest = _newest(folder, archive, old, found)
    mark = max([archive.sealed_seq, *(row[1] for row in rows)]) + PASSED_OVER
    arrival_ns = max([newest.arrival_ns, *(row[4] for row in rows)])
    marks = " ".join(map(str, sorted({*old.marks, mark})))
    meta = {"sealed_seq": str(newest.seq), "newest": newest.to_bytes(), PASSED_OVER_TO: marks}
    _write(folder / _BESIDE, found.tags, [*rows, _mark(mark, arrival_ns)], meta)
    for part in ("-wal", "-shm"):
        # A log of another file would be read into the new one.
        disk.delete(folder / f"{RECENT}{part}")
    disk.rename(folder / _BESIDE, folder / RECENT)
    disk.sync_folder(folder)
    samples = sum(row[5] for row in rows)
    yield (
        f"{RECENT}: made anew, with {len(found.tags)} tags and {samples} samples that are not sealed yet; "
        f"arrival numbers go on after {mark}, so that none is given twice"
    )
    yield from _told(found)


def _told(found: Named) -> Iterator[str]:
    if found.guessed:
        yield (
            f"{RECENT}: of {len(found.guessed)} tags, such as {found.guessed[0]}, only number and path are "
            "known, the unit where they were scanned together, and what the catalogue says of such a path. "
            "Not known is from which source they came, whether it was simulated and, for paths of your own, "
            "whether they hold: run this again with --line and the line's file"
        )
    for number in found.nameless:
        yield f"{RECENT}: the name of tag {number} is lost; its samples stand under lost.tag.{number}"


def salvaged(paths: Iterable[Path]) -> Salvaged:
    """All sound rows and tags of some files; those of the first one count."""
    found = Salvaged()
    for path in paths:
        if path.exists():
            _salvage(path, found)
    return found


def _salvage(path: Path, found: Salvaged) -> None:
    try:
        db = sqlite3.connect(f"file:{path}?mode=ro", uri=True, isolation_level=None, timeout=10)
    except sqlite3.Error:
        return
    try:
        for number, body in _asked(db, "SELECT id, body FROM tags"):
            try:
                found.tags.setdefault(number, Tag.from_json(json.loads(body), id=number))
            except (ValueError, KeyError, TypeError, MeltledgerError):
                continue
        before = sorted((row[0], seq) for seq, row in found.rows.items())
        for seq in sorted(_numbers(db)):
            for row in _asked(db, f"SELECT {_ROW} FROM rows WHERE seq=?", seq):
                if _is_sound(row) and not _meets(row, before):
                    found.rows[seq] = row
        marks = marks_of(db)
        if path.name == _BESIDE:
            # Of a try that was cut short: the next one makes its own.
            for number in marks - found.marks:
                found.rows.pop(number, None)
        found.marks |= marks & {row[0] for row in found.rows.values()}
        meta = dict(_asked(db, "SELECT key, value FROM meta WHERE key IN ('sealed_seq', 'newest')"))
        if found.newest is None and isinstance(meta.get("newest"), bytes):
            with_number = int(meta.get("sealed_seq", 0)), meta["newest"]
            found.newest = Newest.from_bytes(*with_number, where=str(path))
    except (StoredDataDamaged, sqlite3.Error, ValueError):
        pass
    finally:
        db.close()


def _numbers(db: sqlite3.Connection) -> set[int]:
    """Numbers of the rows, sought along several ways, because a damaged page blocks any one of them."""
    ways = (
        "SELECT seq FROM rows ORDER BY seq",
        "SELECT seq FROM rows ORDER BY seq DESC",
        "SELECT seq FROM rows INDEXED BY rows_by_time",
    )
    return {seq for way in ways for (seq,) in _asked(db, way) if isinstance(seq, int)}


def _asked(db: sqlite3.Connection, question: str, *values: int) -> Iterator[tuple[Any, ...]]:
    """The answer as far as it can be read."""
    try:
        yield from db.execute(question, values)
    except (sqlite3.Error, UnicodeDecodeError):
        return


def _is_sound(row: tuple[Any, ...]) -> bool:
    first_seq, seq, *_, samples, body = row
    if not isinstance(body, bytes):
        return False
    try:
        inside = decode(body, first_seq, seq, where="")
    except StoredDataDamaged:
        return False
    return (len(inside.tag), len(inside.heads)) == (samples, seq - first_seq + 1)


def _meets(row: tuple[Any, ...], taken: list[tuple[int, int]]) -> bool:
    """Whether a frame of the row is in one of the rising, separate stretches of numbers already."""
    at = bisect_left(taken, row[0], key=lambda stretch: stretch[1])
    last: int = row[1]
    return at < len(taken) and taken[at][0] <= last


def _named(
    folder: Path,
    archive: Manifest,
    old: Salvaged,
    rows: Iterable[tuple[Any, ...]],
    known: Mapping[str, Tag],
) -> Named:
    try:
        listed = load_tags(folder)
    except MeltledgerError:
        listed = None
    rollups = load_rollups(folder / ROLLUPS) or RollupList()
    seen = seen_in(folder / ARCHIVE, archive, folder / ROLLUPS, rollups)
    by_number = {
        n: Tag.from_json(known[path].to_json(), id=n)
        for n, (path, unit) in seen.items()
        if path in known and unit in (None, known[path].unit)
    }
    numbers: set[int] = {t for f in archive.files() for t in f.tags}
    for first_seq, seq, *_, body in rows:
        numbers |= set(np.unique(decode(body, first_seq, seq, where="").tag).tolist())
    return named(seen, [old.tags, listed.tags if listed else {}, by_number], numbers)


def _newest(folder: Path, archive: Manifest, old: Salvaged, found: Named) -> Newest:
    """The newest sample of each tag up to what is sealed."""
    samples: dict[int, Sample] = ArchiveReader(folder / ARCHIVE).latest()
    if old.newest is not None and old.newest.seq <= archive.sealed_seq:
        for number in found.tags:
            # Of a silent tag the newest sample may be older than all that is kept.
            sample = old.newest.sample(number)
            if sample is not None and (number not in samples or samples[number].time_ns < sample.time_ns):
                samples[number] = sample
    return Newest.of(archive.sealed_seq, samples)


def _mark(number: int, arrival_ns: int) -> tuple[Any, ...]:
    """A row of an empty frame, from which the numbers go on."""
    body = encode([Frame.of([], [], [], [], arrival_ns=arrival_ns)])
    return number, number, 2**62, -(2**62), arrival_ns, 0, body


def _write(path: Path, tags: Mapping[int, Tag], rows: list[tuple[Any, ...]], meta: Mapping[str, Any]) -> None:
    """The new file, whole and on disk, without a write-ahead log beside it."""
    for part in _PARTS:
        path.with_name(f"{path.name}{part}").unlink(missing_ok=True)
    Recent.open(path, write=True).close()
    with told(path):
        db = sqlite3.connect(path, isolation_level=None)
        try:
            db.execute("PRAGMA journal_mode=DELETE")
            db.execute("PRAGMA synchronous=FULL")
            db.execute("BEGIN IMMEDIATE")
            db.executemany(
                "INSERT INTO tags VALUES (?,?,?)",
                [(n, t.path, json.dumps(t.to_json(), ensure_ascii=False)) for n, t in tags.items()],
            )
            db.executemany(f"INSERT INTO rows ({_ROW}) VALUES (?,?,?,?,?,?,?)", rows)
            db.executemany("INSERT INTO meta VALUES (?,?)", list(meta.items()))
            db.execute("COMMIT")
        finally:
            db.close()
        with path.open("rb") as file:
            os.fsync(file.fileno())


def _set_aside(folder: Path, disk: Disk) -> Iterator[str]:
    """The bytes of the old file and of its log once more: whoever opens a damaged one may change it."""
    aside = folder / "damaged"
    free = next(n for n in range(10_000) if not (aside / _numbered(n)).exists())
    for part in _PARTS:
        path = folder / f"{RECENT}{part}"
        if path.exists():
            with told(path):
                data = path.read_bytes()
            disk.write(aside / f"{_numbered(free)}{part}", data)
            yield f"{path.name}: set aside as damaged/{_numbered(free)}{part}"
    if aside.exists():
        disk.sync_folder(aside)
        disk.sync_folder(folder)


def _numbered(number: int) -> str:
    return f"{RECENT}.{number}" if number else RECENT
