"""The embedded store beside a plain SQLite table of one row a sample, both synced to disk at every commit."""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import numpy as np

from benchmarks.figure import Figure, medians, seconds
from historian.embedded import EmbeddedStore
from historian.frame import NS, Frame
from historian.tags import Tag

START_NS = 1_767_225_600 * NS  # 2026-01-01 00:00 UTC
SAMPLES_A_TAG = 5
BUILD = Path(__file__).resolve().parents[1] / "build"

# Samples a commit: a line of 245 tags once a second, and 5,000 in one flush. The bar of each.
APPEND_BARS = {245: 1.5, 5_000: 10.0}
COMMITS = {245: 400, 5_000: 60}
COMMITS_QUICK = {245: 80, 5_000: 12}


def figures(quick: bool) -> Iterator[Figure]:
    """Durable append, samples a second, at each size of commit."""
    BUILD.mkdir(exist_ok=True)
    for samples, bar in APPEND_BARS.items():
        commits = (COMMITS_QUICK if quick else COMMITS)[samples]
        batches = [_batch(samples, k) for k in range(commits)]
        ours, plain = medians(partial(_ours, batches), partial(_narrow, batches))
        yield Figure(f"durable append, samples/s at {samples:,} a commit", ours, plain, bar, quick=quick)


def _batch(samples: int, number: int) -> Frame:
    """What one flush of ``samples`` samples brings: the same for both stores."""
    rng = np.random.default_rng(number)
    tag = 1 + np.arange(samples) // SAMPLES_A_TAG
    time_ns = START_NS + (number * SAMPLES_A_TAG + np.arange(samples) % SAMPLES_A_TAG) * 200_000_000
    value = np.round(220 + rng.normal(0, 3, samples), 1)
    arrival_ns = START_NS + (number + 1) * NS
    return Frame.of(tag, time_ns, value, np.zeros(samples), arrival_ns=arrival_ns)


def _ours(batches: list[Frame]) -> float:
    folder = Path(tempfile.mkdtemp(dir=BUILD))
    store = EmbeddedStore.open(folder)
    try:
        store.register(Tag(f"bench.signal.{n}.pv", "Cel") for n in range(1, int(batches[0].tag.max()) + 1))
        took_s = seconds(lambda: [store.append(frame) for frame in batches])
        last = store.span()
        expected = max(int(f.time_ns.max()) for f in batches)
        if last is None or last[1] != expected:
            raise RuntimeError(f"the store did not keep what was appended: {last}, expected up to {expected}")
    finally:
        store.close()
        shutil.rmtree(folder)
    return sum(map(len, batches)) / took_s


def _narrow(batches: list[Frame]) -> float:
    """The plain way: (tag, time, value, quality) rows under their key, one transaction a batch."""
    folder = Path(tempfile.mkdtemp(dir=BUILD))
    db = sqlite3.connect(folder / "narrow.db", isolation_level=None)
    try:
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("PRAGMA synchronous=FULL")
        db.execute(
            "CREATE TABLE sample (tag INTEGER, time_ns INTEGER, value REAL, quality INTEGER, "
            "PRIMARY KEY (tag, time_ns)) WITHOUT ROWID"
        )
        took_s = seconds(lambda: _insert_all(db, batches))
        kept = db.execute("SELECT count(*) FROM sample").fetchone()[0]
        if kept != sum(map(len, batches)):
            raise RuntimeError(f"the plain table kept {kept} samples of {sum(map(len, batches))}")
    finally:
        db.close()
        shutil.rmtree(folder)
    return sum(map(len, batches)) / took_s


def _insert_all(db: sqlite3.Connection, batches: list[Frame]) -> None:
    for frame in batches:
        columns = (frame.tag, frame.time_ns, frame.value, frame.quality)
        db.execute("BEGIN IMMEDIATE")
        db.executemany(
            "INSERT INTO sample VALUES (?,?,?,?)", zip(*(c.tolist() for c in columns), strict=True)
        )
        db.execute("COMMIT")
