"""The layers that the other tests stand on see every write, drop what was not synced, and can be full."""

from __future__ import annotations

import errno
import sqlite3
import subprocess
import sys
from pathlib import Path
from random import Random

import pytest

from tests.support.platter import Platter
from tests.support.shadow import Shadow, records

pytestmark = pytest.mark.compiler
ROOT = Path(__file__).parents[3]

_DATABASE = """
import os, sqlite3, sys
folder, synchronous = sys.argv[1:]
notes = os.open(os.environ["SHADOW_NOTES"], os.O_WRONLY | os.O_CREAT)
db = sqlite3.connect(folder + "/a.db", isolation_level=None)
db.execute("PRAGMA journal_mode=WAL")
db.execute("PRAGMA wal_autocheckpoint=20")
db.execute("PRAGMA synchronous=" + synchronous)
db.execute("CREATE TABLE t (n INTEGER PRIMARY KEY, body BLOB)")
for n in range(200):
    db.execute("INSERT INTO t VALUES (?, ?)", (n, bytes([n]) * 3000))
    os.write(notes, b"%d\\n" % n)
"""
_FILES = """
import os, sys
from pathlib import Path
folder, how = Path(sys.argv[1]), sys.argv[2]
notes = os.open(os.environ["SHADOW_NOTES"], os.O_WRONLY | os.O_CREAT)
for n in range(60):
    with (folder / "new").open("wb") as file:
        file.write(b"%d" % n * 2000)
        file.flush()
        if how != "file unsynced":
            os.fsync(file.fileno())
    os.replace(folder / "new", folder / "one")
    if how != "folder unsynced":
        at = os.open(folder, os.O_RDONLY)
        os.fsync(at)
        os.close(at)
    os.write(notes, b"%d\\n" % n)
"""


def run(shadow: Shadow, program: str, how: str, nosync: str = "") -> Platter:
    """Run a program under the layer to its end; gives the disk as it was before."""
    shadow.root.mkdir()
    before = Platter.of(shadow.root)
    command = [sys.executable, "-c", program, str(shadow.root), how]
    subprocess.run(command, env=shadow.environment(nosync=nosync), check=True, cwd=ROOT)
    return before


def cuts(platter: Platter, shadow: Shadow, to: Path, count: int) -> list[tuple[Path, int]]:
    """Folders as power cuts at random moments leave them, each with the number that was noted last."""
    to.mkdir()
    diary = list(records(shadow.diary))
    found, at = [], 0
    chance = Random(1)
    for k, moment in enumerate(sorted(chance.sample(range(len(diary)), count))):
        platter.take(diary[at:moment])
        at = moment
        platter.cut(to / str(k), chance)
        noted = platter.notes.split()
        found.append((to / str(k), int(noted[-1]) if noted else -1))
    return found


def rows_of(path: Path) -> list[tuple[int, bytes]]:
    """What a database holds; nothing where there is none."""
    if not path.exists():
        return []
    db = sqlite3.connect(path)
    try:
        return db.execute("SELECT n, body FROM t ORDER BY n").fetchall()
    except sqlite3.Error:
        return []
    finally:
        db.close()


@pytest.mark.parametrize(("program", "how"), [(_DATABASE, "FULL"), (_FILES, "synced")])
def test_the_diary_holds_every_byte_that_was_written(shadow: Shadow, program: str, how: str) -> None:
    platter = run(shadow, program, how)
    platter.take(records(shadow.diary))
    there = {p.name: p.read_bytes() for p in shadow.root.iterdir() if p.suffix != ".db-shm"}
    seen = {name: data for name, data in platter.whole().items() if not name.endswith("-shm")}
    assert len(there) > 0 and seen == there


@pytest.mark.parametrize(
    ("synchronous", "nosync", "loses"),
    [("FULL", "", False), ("NORMAL", "", True), ("OFF", "", True), ("FULL", "*.db-wal", True)],
)
def test_a_database_loses_what_it_did_not_sync(
    shadow: Shadow, tmp_path: Path, synchronous: str, nosync: str, loses: bool
) -> None:
    before = run(shadow, _DATABASE, synchronous, nosync)
    lost = 0
    for folder, noted in cuts(before, shadow, tmp_path / "cuts", 60):
        rows = rows_of(folder / "a.db")
        lost += len(rows) <= noted or rows != [(n, bytes([n]) * 3000) for n in range(len(rows))]
    assert (lost > 0) == loses


@pytest.mark.parametrize("how", ["synced", "file unsynced", "folder unsynced"])
def test_a_file_loses_what_was_not_synced(shadow: Shadow, tmp_path: Path, how: str) -> None:
    before = run(shadow, _FILES, how)
    lost = 0
    for folder, noted in cuts(before, shadow, tmp_path / "cuts", 40):
        path = folder / "one"
        held = path.read_bytes() if path.exists() else b""
        lost += noted >= 0 and held not in [b"%d" % n * 2000 for n in (noted, noted + 1)]
    assert (lost > 0) == (how != "synced")


def test_a_full_disk_takes_the_first_part_and_then_nothing(shadow: Shadow) -> None:
    shadow.root.mkdir()
    environment = shadow.environment()
    shadow.give_room(5 * 4096)
    program = (
        "import os, sys\nfile = os.open(sys.argv[1], os.O_RDWR | os.O_CREAT)\n"
        "print(os.write(file, bytes(20_000)))\n"
        "try:\n    os.write(file, b'x')\nexcept OSError as error:\n    print(error.errno)\n"
        "os.ftruncate(file, 0)\nprint(os.pwrite(file, bytes(4096), 0))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, shadow.root / "a"],
        env=environment,
        check=True,
        capture_output=True,
        text=True,
    )
    # One block is the folder's own.
    assert done.stdout.split() == ["16384", str(errno.ENOSPC), "4096"]
    assert shadow.times_full() == 1 and shadow.held() == 2 * 4096
    shadow.give_room(None)
