"""What SQLite and Python say of a damaged file becomes our word for it, with the file and the remedy."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from historian.errors import StoredDataDamaged, StoreReadOnly
from historian.told import told


def test_bytes_that_are_no_text_where_one_stands_are_damage() -> None:
    refused = pytest.raises(StoredDataDamaged, match=r"recent\.db")
    with closing(sqlite3.connect(":memory:")) as db, refused, told(Path("recent.db")):
        db.execute("SELECT CAST(x'ff' AS TEXT)").fetchall()


def test_a_file_that_somebody_holds_is_not() -> None:
    refused = pytest.raises(StoreReadOnly, match="another writer")
    with closing(sqlite3.connect(":memory:")) as db, refused, told(Path("recent.db")):
        db.execute("SELECT * FROM nothing")
