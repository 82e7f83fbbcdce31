"""Reads a store's folder, byte for byte, for what it holds; changes nothing and may run beside a writer."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

from historian.archive.manifest import NAME, Manifest
from historian.care.findings import Facts, FileFact, RowFact
from historian.embedded.rows import decode
from historian.embedded.tag_list import load_tags
from historian.errors import StoredDataDamaged, WrongInput
from historian.rollups.listed import RollupList
from historian.told import told

ARCHIVE: Final = "archive"
ROLLUPS: Final = "rollups"
RECENT: Final = "recent.db"

PASSED_OVER_TO: Final = "passed_over_to"
"""Key of the table ``meta`` in a ``recent.db`` that was made anew: its first number, each time."""

Progress = Callable[[int, int], None]
"""Told bytes done and bytes in all."""

_AT_ONCE: Final = 1 << 20
_NO_LIST: Final = "is not there, but files that it should name are"
_TRIES: Final = 3


def quiet(done: int, whole: int) -> None:
    """Progress that nobody looks at."""


def look(folder: Path, progress: Progress = quiet) -> Facts:
    """Everything that can be seen of a store, each file read once from end to end.

    A writer may seal meanwhile: when the list of segments changed under the reading, it is read again.

    Raises:
        WrongInput: there is no store in the folder, or a newer release wrote it.
    """
    if not (folder / RECENT).exists() and not (folder / ARCHIVE).is_dir():
        raise WrongInput(f"{folder}: there is no store here; name the folder that holds {RECENT}")
    for left in reversed(range(_TRIES)):
        before = _bytes_of(folder / ARCHIVE / NAME)
        facts = _look(folder, progress)
        if left == 0 or _bytes_of(folder / ARCHIVE / NAME) == before:
            break
    return facts


def _look(folder: Path, progress: Progress) -> Facts:
    # The recent rows first: what is sealed meanwhile is then seen twice, never not at all.
    rows, passed_over, recent_fault = _recent(folder / RECENT)
    manifest, manifest_fault = _manifest(folder / ARCHIVE)
    rollups, rollups_fault = _rollups(folder / ROLLUPS)
    paths = [p for name in (ARCHIVE, ROLLUPS) for p in files_below(folder / name)]
    whole = sum(p.stat().st_size for p in paths if p.exists())
    done = 0
    facts: dict[str, dict[str, FileFact]] = {ARCHIVE: {}, ROLLUPS: {}}
    for path in paths:
        fact = fact_of(path)
        if fact is None:
            continue
        done += fact.bytes
        progress(done, whole)
        part, _, rest = path.relative_to(folder).as_posix().partition("/")
        facts[part][rest] = fact
    if manifest is None and not manifest_fault and facts[ARCHIVE]:
        manifest_fault = _NO_LIST
    if rollups is None and not rollups_fault and facts[ROLLUPS]:
        rollups_fault = _NO_LIST
    return Facts(
        manifest=manifest,
        manifest_fault=manifest_fault,
        archive_files=facts[ARCHIVE],
        rollups=rollups,
        rollups_fault=rollups_fault,
        rollup_files=facts[ROLLUPS],
        rows=rows,
        passed_over=passed_over,
        recent_fault=recent_fault,
        tags_fault=_tags_fault(folder),
    )


def files_below(folder: Path) -> list[Path]:
    """Every file below a folder but for its list, in order of name."""
    return sorted(p for p in folder.rglob("*") if p.is_file() and p != folder / NAME)


def fact_of(path: Path) -> FileFact | None:
    """Size and check sum of a file, read in parts; None when it is gone, as a writer may have tidied."""
    digest, size = hashlib.sha256(), 0
    try:
        with path.open("rb") as file:
            while part := file.read(_AT_ONCE):
                digest.update(part)
                size += len(part)
    except FileNotFoundError:
        return None
    except OSError:
        # A sector that cannot be read is as good as a wrong one: no check sum matches.
        return FileFact(size, "unreadable")
    return FileFact(size, digest.hexdigest())


def _bytes_of(path: Path) -> bytes | None:
    with told(path):
        return path.read_bytes() if path.exists() else None


def _manifest(folder: Path) -> tuple[Manifest | None, str]:
    data = _bytes_of(folder / NAME)
    if data is None:
        return None, ""
    try:
        return Manifest.from_bytes(data, where=str(folder / NAME)), ""
    except StoredDataDamaged as error:
        return None, str(error)


def _rollups(folder: Path) -> tuple[RollupList | None, str]:
    data = _bytes_of(folder / NAME)
    if data is None:
        return None, ""
    try:
        return RollupList.from_bytes(data, where=str(folder / NAME)), ""
    except StoredDataDamaged as error:
        return None, str(error)


def _tags_fault(folder: Path) -> str:
    try:
        load_tags(folder)
    except StoredDataDamaged as error:
        return str(error)
    return ""


def _recent(path: Path) -> tuple[tuple[RowFact, ...], frozenset[int], str]:
    """The rows, the numbers that it was made anew from, and what is wrong with the file as a whole."""
    if not path.exists():
        return (), frozenset(), f"{path}: is not there; frames that were not sealed yet are lost with it"
    found: list[RowFact] = []
    passed_over: frozenset[int] = frozenset()
    try:
        with told(path):
            db = sqlite3.connect(f"file:{path}?mode=ro", uri=True, isolation_level=None, timeout=10)
            try:
                found += _decoded(db, path)
                if found:
                    passed_over = marks_of(db)
                (sound,) = db.execute("PRAGMA quick_check(1)").fetchone()
            finally:
                db.close()
    except StoredDataDamaged as error:
        return tuple(found), passed_over, str(error)
    return tuple(found), passed_over, "" if sound == "ok" else f"{path}: {sound.splitlines()[-1]}"


def marks_of(db: sqlite3.Connection) -> frozenset[int]:
    """The arrival numbers from which a ``recent.db`` that was made anew goes on."""
    found = db.execute("SELECT value FROM meta WHERE key=?", (PASSED_OVER_TO,)).fetchone()
    return frozenset(map(int, str(found[0]).split())) if found else frozenset()


def _decoded(db: sqlite3.Connection, path: Path) -> Iterator[RowFact]:
    """Each row, in parts, so that a reader does not keep a writer from tidying its file."""
    after = 0
    if db.execute("SELECT 1 FROM sqlite_master WHERE name='rows'").fetchone() is None:
        return
    while rows := db.execute(
        "SELECT first_seq, seq, first_ns, last_ns, arrival_ns, samples, body FROM rows "
        "WHERE seq>? ORDER BY seq LIMIT 200",
        (after,),
    ).fetchall():
        for first_seq, seq, first_ns, last_ns, arrival_ns, samples, body in rows:
            fault = ""
            try:
                row = decode(body, first_seq, seq, where=f"{path}, row {seq}")
                if len(row.tag) != samples or len(row.heads) != seq - first_seq + 1:
                    fault = f"{path}, row {seq}: holds other frames than its columns say"
            except StoredDataDamaged as error:
                fault = str(error)
            yield RowFact(first_seq, seq, first_ns, last_ns, arrival_ns, samples, fault)
        after = rows[-1][1]
