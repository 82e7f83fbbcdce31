"""Appending the reference set: our store beside a plain table, both synced to disk at every commit."""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from functools import partial
from itertools import pairwise
from pathlib import Path

import numpy as np

from benchmarks import prepared
from benchmarks.answers import same_rows
from benchmarks.figure import Figure, medians, seconds
from benchmarks.plain_table import PlainTable
from benchmarks.prepared import flushes_of
from benchmarks.reference_set import START_NS, frames, hour, tags
from historian.archive.manifest import HOUR_NS
from historian.embedded.store import EmbeddedStore
from historian.embedded.upkeep import Upkeep
from historian.frame import NS, Frame, Series
from historian.retention import Keep

A_SECOND = 245
"""Samples a second of the reference set: its line commits once a second."""

# Samples a commit: the line's second, and what catching up brings. The bar of each.
APPEND_BARS = {A_SECOND: 1.5, 5_000: 10.0}
COMMITS = {A_SECOND: 400, 5_000: 120}
COMMITS_QUICK = {A_SECOND: 80, 5_000: 12}
SEALED_S, SEALED_S_QUICK = 3_600, 300

CPU_BAR = 1 / 0.7
"""At the line's size the sync dominates; ours may take at most 0.7 of the plain way's processor time."""

_SCRATCH = "append-"
WINDOW = (START_NS, START_NS + 2 * HOUR_NS)


def figures(quick: bool) -> Iterator[Figure]:
    """Durable append, samples a second, at each size of commit; and what the line's size costs."""
    prepared.BUILD.mkdir(exist_ok=True)
    for left in prepared.BUILD.glob(f"{_SCRATCH}*"):
        shutil.rmtree(left)  # of a run that was ended
    for samples, bar in APPEND_BARS.items():
        batches = batches_of(samples, (COMMITS_QUICK if quick else COMMITS)[samples])
        ours, plain = medians(partial(_ours, batches, seconds), partial(_plain, batches, seconds))
        yield Figure(f"durable append, samples/s at {samples:,} a commit", ours, plain, bar, quick=quick)
        if samples == A_SECOND:
            yield _cpu(batches, quick)


def _cpu(batches: list[Frame], quick: bool) -> Figure:
    """Nanoseconds of processor time a sample; beside it, with what the upkeep takes to seal and roll up."""
    ours, plain = medians(partial(_ours, batches, _cpu_s), partial(_plain, batches, _cpu_s))
    (kept,) = medians(partial(_kept, SEALED_S_QUICK if quick else SEALED_S))
    beside = {"ours with sealing and rollups": 1e9 / ours + 1e9 / kept}
    name = f"durable append, CPU ns a sample at {A_SECOND} a commit"
    return Figure(name, 1e9 / ours, 1e9 / plain, CPU_BAR, True, quick, beside=beside)


def batches_of(samples: int, commits: int) -> list[Frame]:
    """The first samples of the set in the order of their arrival, so many a commit, a commit a second."""
    sent = list(frames(hour(0, -(-samples * commits // A_SECOND)), 0))
    tag, time_ns, value, quality = (
        np.concatenate([getattr(f, name) for f in sent]) for name in ("tag", "time_ns", "value", "quality")
    )
    return [
        Frame.of(tag[a:b], time_ns[a:b], value[a:b], quality[a:b], arrival_ns=sent[0].arrival_ns + k * NS)
        for k, (a, b) in enumerate(pairwise(range(0, samples * (commits + 1), samples)))
    ]


def _ours(batches: list[Frame], took_s: Callable[[Callable[[], object]], float]) -> float:
    """Samples a second, of the clock or of the processor."""
    folder = Path(tempfile.mkdtemp(prefix=_SCRATCH, dir=prepared.BUILD))
    try:
        with closing(EmbeddedStore.open(folder)) as store:
            store.register(tags())
            took = took_s(lambda: [store.append(frame) for frame in batches])
            found = store.read([t.path for t in tags()], *WINDOW)
            _check(batches, list(found.values()), "the store")
    finally:
        shutil.rmtree(folder)
    return sum(map(len, batches)) / took


def _plain(batches: list[Frame], took_s: Callable[[Callable[[], object]], float]) -> float:
    folder = Path(tempfile.mkdtemp(prefix=_SCRATCH, dir=prepared.BUILD))
    try:
        with closing(PlainTable(folder / "plain.db")) as table:
            took = took_s(lambda: table.insert(*batches))
            found = table.raw([t.id for t in tags()], *WINDOW)
            _check(batches, list(found.values()), "the plain table")
    finally:
        shutil.rmtree(folder)
    return sum(map(len, batches)) / took


def _check(batches: list[Frame], kept: list[Series], where: str) -> None:
    """Refuse to time a way that does not keep what it was given, sample by sample."""
    tag = np.concatenate([f.tag for f in batches])
    order = np.lexsort((np.concatenate([f.time_ns for f in batches]), tag))
    for name in ("time_ns", "value", "quality"):
        given = np.concatenate([getattr(f, name) for f in batches])[order]
        same_rows(np.concatenate([getattr(s, name) for s in kept]), given, f"{where}, {name}")


def _kept(for_s: int) -> float:
    """Samples a processor second of sealing and rolling up what a line sent meanwhile."""
    folder = Path(tempfile.mkdtemp(prefix=_SCRATCH, dir=prepared.BUILD))
    sent = list(frames(hour(0, for_s), 0))
    try:
        with closing(EmbeddedStore.open(folder)) as store:
            store.register(tags())
            for flush in flushes_of(iter(sent)):
                store.append(*flush)
        with closing(Upkeep.open(folder, prepared.LINE, Keep())) as upkeep:
            took = _cpu_s(lambda: upkeep.step(sent[-1].arrival_ns, seal_all=True))
    finally:
        shutil.rmtree(folder)
    return sum(map(len, sent)) / took


def _cpu_s(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start
