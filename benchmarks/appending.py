"""Appending: the embedded store beside a plain table, both synced to disk at every commit."""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import numpy as np

from benchmarks.figure import Figure, medians, seconds
from benchmarks.plain_table import PlainTable
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


CPU_BAR = 1 / 0.7
"""At the small size the sync dominates; ours may take at most 0.7 of the plain way's processor time."""


def figures(quick: bool) -> Iterator[Figure]:
    """Durable append, samples a second, at each size of commit; and what the small size costs."""
    BUILD.mkdir(exist_ok=True)
    for samples, bar in APPEND_BARS.items():
        commits = (COMMITS_QUICK if quick else COMMITS)[samples]
        batches = [_batch(samples, k) for k in range(commits)]
        ours, plain = medians(partial(_ours, batches), partial(_narrow, batches))
        yield Figure(f"durable append, samples/s at {samples:,} a commit", ours, plain, bar, quick=quick)
        if samples == min(APPEND_BARS):
            ours, plain = medians(partial(_ours, batches, cpu=True), partial(_narrow, batches, cpu=True))
            name = f"durable append, CPU ns a sample at {samples:,} a commit"
            n = samples * commits
            yield Figure(
                name, 1e9 * n / ours / n, 1e9 * n / plain / n, CPU_BAR, less_is_better=True, quick=quick
            )


def _batch(samples: int, number: int) -> Frame:
    """What one flush of ``samples`` samples brings: the same for both stores."""
    rng = np.random.default_rng(number)
    tag = 1 + np.arange(samples) // SAMPLES_A_TAG
    time_ns = START_NS + (number * SAMPLES_A_TAG + np.arange(samples) % SAMPLES_A_TAG) * 200_000_000
    value = np.round(220 + rng.normal(0, 3, samples), 1)
    arrival_ns = START_NS + (number + 1) * NS
    return Frame.of(tag, time_ns, value, np.zeros(samples), arrival_ns=arrival_ns)


def _ours(batches: list[Frame], *, cpu: bool = False) -> float:
    """Samples a second, of the clock or of the processor."""
    folder = Path(tempfile.mkdtemp(dir=BUILD))
    store = EmbeddedStore.open(folder)
    try:
        store.register(Tag(f"bench.signal.{n}.pv", "Cel") for n in range(1, int(batches[0].tag.max()) + 1))
        took_s = _took_s(lambda: [store.append(frame) for frame in batches], cpu=cpu)
        last = store.span()
        expected = max(int(f.time_ns.max()) for f in batches)
        if last is None or last[1] != expected:
            raise RuntimeError(f"the store did not keep what was appended: {last}, expected up to {expected}")
    finally:
        store.close()
        shutil.rmtree(folder)
    return sum(map(len, batches)) / took_s


def _narrow(batches: list[Frame], *, cpu: bool = False) -> float:
    folder = Path(tempfile.mkdtemp(dir=BUILD))
    table = PlainTable(folder / "narrow.db")
    try:
        took_s = _took_s(lambda: [table.insert(frame) for frame in batches], cpu=cpu)
        kept = table.count()
        if kept != sum(map(len, batches)):
            raise RuntimeError(f"the plain table kept {kept} samples of {sum(map(len, batches))}")
    finally:
        table.close()
        shutil.rmtree(folder)
    return sum(map(len, batches)) / took_s


def _took_s(work: Callable[[], object], *, cpu: bool) -> float:
    if not cpu:
        return seconds(work)
    start = time.process_time()
    work()
    return time.process_time() - start
