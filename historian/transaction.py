"""One transaction of an SQLite file, for whatever is kept in one."""

from __future__ import annotations

import sqlite3


class Transaction:
    """All or nothing, also when the disk fills up in the middle."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db

    def __enter__(self) -> None:
        self._db.execute("BEGIN IMMEDIATE")

    def __exit__(self, kind: object, error: object, trace: object) -> None:
        if kind is None:
            try:
                self._db.execute("COMMIT")
                return
            except sqlite3.Error:
                self._roll_back()
                raise
        self._roll_back()

    def _roll_back(self) -> None:
        if self._db.in_transaction:
            self._db.execute("ROLLBACK")
