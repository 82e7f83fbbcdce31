"""The reference data set in each store, made once and kept in ``build/``."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.plain_table import PlainTable
from benchmarks.reference_set import START_NS, Group, frames, hour, tags
from historian.archive.manifest import DAY_NS, HOUR_NS
from historian.embedded import EmbeddedStore
from historian.frame import NS, Frame
from historian.retention import Keep
from historian.tags import Tag
from historian.upkeep import Upkeep

BUILD = Path(__file__).resolve().parents[1] / "build"
VERSION = "1"
"""Raised when the data or the way they are kept change; then they are made anew."""

LINE = "bench"
LONG_TAG = Tag("bench.long.1.pv", "Cel")
_FLUSH_FRAMES = 60


@dataclass(frozen=True, slots=True)
class Prepared:
    """Where the data are.

    Attributes:
        hours, days: length of the set of 200 tags, and of the one of a single tag.
        store, raw: the set in a store, and the same store without rollups.
        own_stamps: the set with stamps of its own for each tag, one hour.
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
    """The data, made where they are missing."""
    folder = BUILD / ("reference-quick" if quick else "reference")
    names = ("store", "raw", "own_stamps", "plain.db", "long", "long_raw", "long_plain.db")
    data = Prepared(quick, 2 if quick else 24, 30 if quick else 90, *(folder / name for name in names))
    mark = folder / "made"
    if not mark.exists() or mark.read_text(encoding="utf-8") != VERSION:
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        _tell(f"making {data.hours} h of 200 tags and {data.days} days of one in {folder}")
        _make(data)
        mark.write_text(VERSION, encoding="utf-8")
    return data


def all_hours(hours: int) -> Iterator[tuple[int, list[Group]]]:
    """The set, an hour at a time."""
    for number in range(hours):
        yield number, hour(number)


def long_day(number: int) -> Frame:
    """A day of the single tag at 1 Hz: quantised to 0.1, 3 ms of jitter."""
    chance = np.random.default_rng([1, number])
    second = np.arange(86_400, dtype=np.int64)
    jitter_ms = np.clip(np.rint(chance.normal(0, 3, len(second))), -15, 15).astype(np.int64)
    time_ns = START_NS + number * DAY_NS + second * NS + (100 + jitter_ms) * 1_000_000
    t_s = number * 86_400.0 + second
    value = 220 + 3 * np.sin(t_s / 40_000) + 1.2 * np.sin(t_s / 20) + chance.normal(0, 0.1, len(second))
    return Frame.of(
        np.ones(len(second)),
        time_ns,
        np.round(value, 1),
        np.zeros(len(second)),
        arrival_ns=int(time_ns[-1]) + NS,
    )


def _make(data: Prepared) -> None:
    plain = PlainTable(data.plain)
    _fill(
        data.store, tags(), (_flushes(frames(groups, n)) for n, groups in all_hours(data.hours)), data.end_ns
    )
    for number, groups in all_hours(data.hours):
        plain.insert(_whole(list(frames(groups, number))))
    plain.close()
    _fill(data.own_stamps, tags(), iter([_flushes(_own_stamps())]), START_NS + DAY_NS)
    days = [long_day(n) for n in range(data.days)]
    _fill(data.long, [LONG_TAG], ([[day]] for day in days), data.long_end_ns)
    long_plain = PlainTable(data.long_plain)
    for day in days:
        long_plain.insert(day)
    long_plain.close()
    for store, raw in ((data.store, data.raw), (data.long, data.long_raw)):
        shutil.copytree(store, raw, ignore=shutil.ignore_patterns("rollups"))


def _fill(folder: Path, named: list[Tag], parts: Iterator[list[list[Frame]]], end_ns: int) -> None:
    """As a running line does it: flushes, the upkeep behind them, days made of hours at the end."""
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


def _flushes(sent: Iterator[Frame]) -> list[list[Frame]]:
    whole = list(sent)
    return [whole[at : at + _FLUSH_FRAMES] for at in range(0, len(whole), _FLUSH_FRAMES)]


def _whole(sent: list[Frame]) -> Frame:
    columns = [np.concatenate([getattr(f, n) for f in sent]) for n in ("tag", "time_ns", "value", "quality")]
    return Frame.of(*columns, arrival_ns=sent[-1].arrival_ns)


def _own_stamps() -> Iterator[Frame]:
    """An hour of the set in which each tag's stamps have a jitter of their own."""
    for frame in frames(hour(0), 0):
        chance = np.random.default_rng(frame.arrival_ns % 2**32)
        jitter_ms = np.clip(np.rint(chance.normal(0, 3, len(frame))), -15, 15).astype(np.int64)
        time_ns = frame.time_ns + jitter_ms * 1_000_000
        yield Frame.of(frame.tag, time_ns, frame.value, frame.quality, arrival_ns=frame.arrival_ns)


def size_of(folder: Path, pattern: str = "**/*") -> int:
    """Bytes of the files below a folder."""
    return sum(f.stat().st_size for f in folder.glob(pattern) if f.is_file())


def _tell(text: str) -> None:
    print(text, file=sys.stderr, flush=True)
