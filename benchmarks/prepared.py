"""The reference data set in each store, made once and kept in ``build/``.

The plain tables are made anew when the data change, the stores also when the code that writes them does: a
figure about files that yesterday's code wrote says nothing about today's.
"""

from __future__ import annotations

import fcntl
import hashlib
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from benchmarks.plain_table import PlainTable
from benchmarks.reference_set import LONG_TAG, START_NS, Group, frames, hour, long_day, tags
from historian.archive.manifest import DAY_NS, HOUR_NS
from historian.embedded.store import EmbeddedStore
from historian.embedded.upkeep import Upkeep
from historian.frame import NS, Frame
from historian.retention import Keep
from historian.tags import Tag

HERE: Final = Path(__file__).resolve().parents[1]
BUILD = HERE / "build"
LINE: Final = "bench"
_FLUSH_FRAMES: Final = 60
_DATA_CODE: Final = ("benchmarks/reference_set.py", "benchmarks/plain_table.py")
_STORE_CODE: Final = (
    "benchmarks/prepared.py",
    "historian/archive/*.py",
    "historian/frame.py",
    "historian/embedded/recent.py",
    "historian/rollups/*.py",
    "historian/embedded/repeating.py",
    "historian/embedded/rows.py",
    "historian/embedded/upkeep.py",
)


@dataclass(frozen=True, slots=True)
class Prepared:
    """Where the data are.

    Attributes:
        quick: whether it is the small set.
        hours, days: length of the set of 200 tags, and of the one of a single tag.
        store, raw: the set in a store, and the same store without rollups.
        own_stamps: the first hour of the set with stamps of its own for each tag, in a store.
        plain: the set in a plain table.
        long, long_raw, long_plain: the single tag, likewise.
    """

    quick: bool
    hours: int
    days: int
    store: Path
    raw: Path
    own_stamps: Path
    plain: Path
    long: Path
    long_raw: Path
    long_plain: Path

    @property
    def end_ns(self) -> int:
        """End of the set of 200 tags."""
        return START_NS + self.hours * HOUR_NS

    @property
    def long_end_ns(self) -> int:
        """End of the single tag's."""
        return START_NS + self.days * DAY_NS


def prepared(*, quick: bool) -> Prepared:
    """The data, made where they are missing or no longer what today's code would make."""
    folder = BUILD / ("reference-quick" if quick else "reference")
    stores, tables = folder / "stores", folder / "tables"
    data = Prepared(
        quick=quick,
        hours=2 if quick else 24,
        days=30 if quick else 90,
        store=stores / "day",
        raw=stores / "day-raw",
        own_stamps=stores / "own-stamps",
        plain=tables / "day.db",
        long=stores / "long",
        long_raw=stores / "long-raw",
        long_plain=tables / "long.db",
    )
    what = f"{data.hours} h of 200 tags and {data.days} days of one"
    data_code, store_code = digest(*_DATA_CODE), digest(*_DATA_CODE, *_STORE_CODE)
    if remade(tables, data_code):
        _tell(f"writing {what} to plain tables in {tables}")
        _fill_tables(data)
        made(tables, data_code)
    if remade(stores, store_code):
        _tell(f"writing {what} to stores in {stores}")
        _fill_stores(data)
        made(stores, store_code)
    return data


@contextmanager
def alone() -> Iterator[None]:
    """Nobody else measures, or makes the data, meanwhile; waits until it is so."""
    BUILD.mkdir(exist_ok=True)
    with (BUILD / "reference.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            _tell("another benchmark is running here; waiting for its end")
            fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def data_digest() -> str:
    """Changes when the data do."""
    return digest(_DATA_CODE[0])


def digest(*patterns: str) -> str:
    """Check sum over the source files that the patterns find."""
    found = hashlib.sha256()
    for pattern in patterns:
        for path in sorted(HERE.glob(pattern)):
            found.update(path.read_bytes())
    return found.hexdigest()


def remade(folder: Path, of: str) -> bool:
    """Whether the folder has to be filled; then it is empty."""
    mark = folder / "made"
    if mark.exists() and mark.read_text(encoding="utf-8") == of:
        return False
    if folder.exists():
        shutil.rmtree(folder)
    folder.mkdir(parents=True)
    return True


def made(folder: Path, of: str) -> None:
    """Mark the folder as filled."""
    (folder / "made").write_text(of, encoding="utf-8")


def all_hours(hours: int) -> Iterator[tuple[int, list[Group]]]:
    """The set, an hour at a time."""
    for number in range(hours):
        yield number, hour(number)


def fill(folder: Path, named: list[Tag], parts: Iterator[list[list[Frame]]], end_ns: int) -> None:
    """As a running line does it: flushes, the upkeep behind them, days made of hours at the end.

    Args:
        parts: flushes, and after each part a step of the upkeep.
    """
    store = EmbeddedStore.open(folder)
    store.register(named)
    upkeep = Upkeep.open(folder, LINE, Keep())
    for flushes in parts:
        for flush in flushes:
            store.append(*flush)
        upkeep.step(flushes[-1][-1].arrival_ns, seal_all=True)
    upkeep.step(end_ns + 2 * DAY_NS, seal_all=True)
    upkeep.close()
    store.close()


def flushes_of(sent: Iterator[Frame]) -> list[list[Frame]]:
    """Frames as a writer hands them over, a minute of them at once."""
    whole = list(sent)
    return [whole[at : at + _FLUSH_FRAMES] for at in range(0, len(whole), _FLUSH_FRAMES)]


def size_of(folder: Path, pattern: str = "**/*") -> int:
    """Bytes of the files below a folder."""
    return sum(f.stat().st_size for f in folder.glob(pattern) if f.is_file())


def _fill_tables(data: Prepared) -> None:
    plain = PlainTable(data.plain)
    for number, groups in all_hours(data.hours):
        plain.insert(_whole(list(frames(groups, number))))
    plain.close()
    long = PlainTable(data.long_plain)
    for number in range(data.days):
        long.insert(long_day(number))
    long.close()


def _fill_stores(data: Prepared) -> None:
    hours = (flushes_of(frames(groups, number)) for number, groups in all_hours(data.hours))
    fill(data.store, tags(), hours, data.end_ns)
    fill(data.own_stamps, tags(), iter([flushes_of(_own_stamps())]), START_NS + DAY_NS)
    fill(data.long, [LONG_TAG], ([[long_day(n)]] for n in range(data.days)), data.long_end_ns)
    for store, raw in ((data.store, data.raw), (data.long, data.long_raw)):
        shutil.copytree(store, raw, ignore=shutil.ignore_patterns("rollups"))


def _whole(sent: list[Frame]) -> Frame:
    columns = [np.concatenate([getattr(f, n) for f in sent]) for n in ("tag", "time_ns", "value", "quality")]
    return Frame.of(*columns, arrival_ns=sent[-1].arrival_ns)


def _own_stamps() -> Iterator[Frame]:
    """An hour of the set in which each tag's stamps have a jitter of their own."""
    for frame in frames(hour(0), 0):
        chance = np.random.default_rng(frame.arrival_ns % 2**32)
        jitter_ms = np.clip(np.rint(chance.normal(0, 3, len(frame))), -15, 15).astype(np.int64)
        time_ns = frame.time_ns + jitter_ms * (NS // 1000)
        yield Frame.of(frame.tag, time_ns, frame.value, frame.quality, arrival_ns=frame.arrival_ns)


def _tell(text: str) -> None:
    print(text, file=sys.stderr, flush=True)
