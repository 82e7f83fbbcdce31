"""SQLite's and the disk's errors in our words, naming the file and the remedy."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from historian.errors import StoredDataDamaged, StoreFull, StoreReadOnly


class told:  # noqa: N801 - reads as a clause: with told(path)
    """Turns SQLite's errors into ours, naming the file and the remedy."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if isinstance(error, PermissionError):
            raise StoreReadOnly(_READ_ONLY.format(path=self._path)) from error
        if isinstance(error, OSError) and error.errno == 28:
            raise StoreFull(_FULL.format(path=self._path)) from error
        if isinstance(error, OSError):
            raise StoreReadOnly(
                f"{self._path}: {error.strerror}; check the path in the line's file"
            ) from error
        if not isinstance(error, sqlite3.Error):
            return
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF
        if code == sqlite3.SQLITE_FULL or (code == sqlite3.SQLITE_CANTOPEN and _is_full(self._path)):
            raise StoreFull(_FULL.format(path=self._path)) from error
        if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
            raise StoreReadOnly(_READ_ONLY.format(path=self._path)) from error
        if code == sqlite3.SQLITE_IOERR:
            raise StoreFull(
                f"{self._path}: the disk does not take the data ({error}); check it and its space"
            ) from error
        # Spoilt bytes can make a text of what was none; Python refuses it, and SQLite has no number for that.
        if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB) or str(error).startswith(_NO_TEXT):
            raise StoredDataDamaged(
                f"{self._path}: not readable as a store ({error}); copy the folder away first"
            ) from error
        raise StoreReadOnly(f"{self._path}: {error}; is another writer running on this line?") from error


def _is_full(path: Path) -> bool:
    """Whether there is no room for a file beside this one: SQLite does not say why it could not make it."""
    try:
        found = os.statvfs(path.parent)
    except OSError:
        return False
    return found.f_bavail * found.f_frsize < _LEAST_BYTES


_LEAST_BYTES = 1 << 16
_NO_TEXT = "Could not decode to UTF-8"
_FULL = (
    "{path}: the disk is full; nothing of this flush was kept, all before it is readable. Free space there"
)
_READ_ONLY = "{path}: cannot be written; let this user write there, or change the path in the line's file"
