"""A store in one file, copied while it is in use, checked byte for byte on the way out and on the way back.

The file is a plain tar archive, readable without us: the store's files under their own names, then
``contents.json`` with the size and SHA-256 of each. It is the last one in, so a backup that was cut short
lacks it and is refused. Databases are copied by SQLite's own backup, so that a writer may go on meanwhile.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import sqlite3
import tarfile
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import IO, Final

from historian.archive.disk import HostDisk
from historian.archive.manifest import NAME, Manifest
from historian.care.findings import FileFact
from historian.care.look import ARCHIVE, RECENT, ROLLUPS, Progress, quiet
from historian.embedded.spare import NAME as SPARE
from historian.errors import OutsideWorldAway, StoredDataDamaged, WrongInput
from historian.rollups.listed import RollupList
from historian.told import told

CONTENTS: Final = "contents.json"
FORMAT: Final = "meltledger-backup"
VERSION: Final = 1
_SQLITE: Final = b"SQLite format 3\x00"
_NOT_COPIED: Final = ("-wal", "-shm", "-journal", ".new", ".part", ".lock", SPARE)
_TRIES: Final = 5

Contents = dict[str, FileFact]


def back_up(folder: Path, file: Path, progress: Progress = quiet) -> Contents:
    """Copy a store into one file; gives size and check sum of everything in it.

    The file gets its name when it is whole and on disk. What was acknowledged before the call is in it.

    Raises:
        WrongInput: there is no store, or the file is there already or lies in the store.
        StoredDataDamaged: a list or a listed file is not what was written; nothing is kept of the copy.
        StoreFull, StoreReadOnly: the file cannot be written.
        OutsideWorldAway: the store changed five times under the copying.
    """
    if not (folder / RECENT).exists():
        raise WrongInput(f"{folder}: there is no store here; name the folder that holds {RECENT}")
    if file.exists():
        raise WrongInput(f"{file}: is there already; name another file")
    if folder.resolve() in file.resolve().parents:
        raise WrongInput(f"{file}: lies in the store that it is to be a copy of; name a place outside")
    part = file.with_name(f"{file.name}.part")
    try:
        contents = _until_still(folder, part, progress)
        HostDisk().rename(part, file)
        HostDisk().sync_folder(file.parent)
    finally:
        part.unlink(missing_ok=True)
    return contents


class _Moved(Exception):
    """A writer has tidied a file away before its turn came."""


def _until_still(folder: Path, part: Path, progress: Progress) -> Contents:
    for _ in range(_TRIES):
        try:
            with told(part):
                return _copied(folder, part, progress)
        except _Moved:
            continue
    raise OutsideWorldAway(f"{folder}: the store changed {_TRIES} times while it was copied; try again")


def _copied(folder: Path, part: Path, progress: Progress) -> Contents:
    contents: Contents = {}
    with (
        part.open("wb") as out,
        tempfile.TemporaryDirectory(prefix=".copy-", dir=part.parent) as beside,
        tarfile.open(fileobj=out, mode="w", format=tarfile.PAX_FORMAT) as tar,
    ):
        # Databases before the lists: what is sealed meanwhile is then in both, never in neither.
        for path in _loose(folder):
            with _still(path, Path(beside) / "copy") as (copy, size):
                name = path.relative_to(folder).as_posix()
                contents[name] = _add(tar, name, copy, size)
        whole = done = 0
        for name, data, listed in _lists(folder):
            contents[name] = _add(tar, name, io.BytesIO(data), len(data))
            whole += sum(fact.bytes for fact in listed.values())
            for place, expected in listed.items():
                contents[place] = _add_listed(tar, folder, place, expected)
                done += expected.bytes
                progress(done, whole)
        body = {"format": FORMAT, "version": VERSION, "files": {n: asdict(f) for n, f in contents.items()}}
        last = json.dumps(body, sort_keys=True).encode()
        _add(tar, CONTENTS, io.BytesIO(last), len(last))
        tar.close()
        out.flush()
        os.fsync(out.fileno())
    return contents


def _loose(folder: Path) -> list[Path]:
    """Every file that no list names: journal, trials and whatever else lies there, recent.db last.

    The journal remembers the number of the last frame that was judged. In this order none that it names is
    missing from recent.db; else frames to come would get its numbers and be taken for judged.
    """
    listed = (folder / ARCHIVE, folder / ROLLUPS)
    found = [
        p
        for p in folder.rglob("*")
        if p.is_file() and not p.name.endswith(_NOT_COPIED) and not any(root in p.parents for root in listed)
    ]
    return sorted(found, key=lambda p: (p == folder / RECENT, p))


def _lists(folder: Path) -> Iterator[tuple[str, bytes, Contents]]:
    """Each list as it is now, with what it names below the store's folder."""
    for root, kind in ((ARCHIVE, Manifest), (ROLLUPS, RollupList)):
        path = folder / root / NAME
        if not path.exists():
            continue
        data = path.read_bytes()
        listed = kind.from_bytes(data, where=str(path))
        entries = listed.files() if isinstance(listed, Manifest) else listed.files
        yield f"{root}/{NAME}", data, {f"{root}/{f.path}": FileFact(f.bytes, f.sha256) for f in entries}


@contextmanager
def _still(path: Path, beside: Path) -> Iterator[tuple[IO[bytes], int]]:
    """A file that does not change under the reading: a database is copied beside first."""
    try:
        with path.open("rb") as file:
            is_database = file.read(len(_SQLITE)) == _SQLITE
    except FileNotFoundError as error:
        raise _Moved from error
    if is_database:
        beside.unlink(missing_ok=True)
        source = sqlite3.connect(f"file:{path}?mode=ro", uri=True, timeout=10)
        target = sqlite3.connect(beside)
        try:
            source.backup(target)
            (found,) = target.execute("PRAGMA quick_check(1)").fetchone()
        except sqlite3.DatabaseError as error:
            if getattr(error, "sqlite_errorcode", 0) & 0xFF not in (
                sqlite3.SQLITE_CORRUPT,
                sqlite3.SQLITE_NOTADB,
            ):
                raise
            found = str(error)
        finally:
            target.close()
            source.close()
        if found != "ok":
            raise StoredDataDamaged(
                f"{path}: {found.splitlines()[-1]}; run `meltledger doctor` on the store first"
            )
    elif path.name == RECENT:
        raise StoredDataDamaged(f"{path}: is no database; run `meltledger doctor` on the store first")
    chosen = beside if is_database else path
    with chosen.open("rb") as file:
        yield file, os.fstat(file.fileno()).st_size


def _add(tar: tarfile.TarFile, name: str, file: IO[bytes], size: int) -> FileFact:
    """One file of the copy; its check sum is of the bytes that went in."""
    entry = tarfile.TarInfo(name)
    entry.size, entry.mode = size, 0o640
    through = _Summed(file)
    tar.addfile(entry, through)
    return FileFact(size, through.digest.hexdigest())


def _add_listed(tar: tarfile.TarFile, folder: Path, path: str, expected: FileFact) -> FileFact:
    try:
        file = (folder / path).open("rb")
    except FileNotFoundError as error:
        raise _Moved from error
    with file:
        size = os.fstat(file.fileno()).st_size
        if size != expected.bytes or _add(tar, path, file, size) != expected:
            raise StoredDataDamaged(
                f"{folder / path}: does not match its check sum; run `meltledger doctor` on the store first"
            )
    return expected


class _Summed:
    """A file whose bytes are summed as they are read."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file
        self.digest = hashlib.sha256()

    def read(self, size: int = -1) -> bytes:
        data = self._file.read(size)
        self.digest.update(data)
        return data
