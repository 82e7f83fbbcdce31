"""How much memory a reader takes, each in a process of its own."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator

from benchmarks.figure import Figure
from benchmarks.prepared import Prepared
from benchmarks.reference_set import START_NS, tags

LIMIT_MB = 300.0
_BYTES_A_SAMPLE = 20  # time, value, quality: what an answer holds

_OPEN = """
import resource, sys
from pathlib import Path
from historian.embedded import EmbeddedStore
def peak_mb():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
store = EmbeddedStore.open(Path(sys.argv[1]), mode="read")
paths, start_ns, end_ns = sys.argv[4].split(","), int(sys.argv[2]), int(sys.argv[3])
store.read(paths[:2], start_ns, start_ns + 10**9)
before_mb = peak_mb()
"""
_ITERATE = """
samples = sum(len(s) for block in store.blocks(paths, start_ns, end_ns) for s in block.values())
"""
_READ = """
found = store.read(paths, start_ns, end_ns)
samples = sum(map(len, found.values()))
"""
_TELL = """
print(samples, peak_mb() - before_mb)
"""


def figures(data: Prepared) -> Iterator[Figure]:
    """Peak memory beyond that of an open store, MB."""
    every = [t.path for t in tags()]
    samples, peak_mb = _measured(data, _ITERATE, every)
    answer_mb = samples * _BYTES_A_SAMPLE / 2**20
    yield Figure(
        f"iterating over 200 tags x {data.hours} h, peak MB against the whole answer's",
        max(peak_mb, 0.1), answer_mb, answer_mb / LIMIT_MB, True, data.quick, LIMIT_MB,
    )  # fmt: skip
    samples, peak_mb = _measured(data, _READ, every[:40])
    answer_mb = samples * _BYTES_A_SAMPLE / 2**20
    yield Figure(
        f"reading 40 tags x {data.hours} h at once, MB beyond the answer against {LIMIT_MB:g}",
        max(peak_mb - answer_mb, 0.1), LIMIT_MB, 1.0, True, data.quick,
    )  # fmt: skip


def _measured(data: Prepared, work: str, paths: list[str]) -> tuple[int, float]:
    arguments = [str(data.store), str(START_NS), str(data.end_ns), ",".join(paths)]
    done = subprocess.run(
        [sys.executable, "-c", _OPEN + work + _TELL, *arguments], check=True, capture_output=True, text=True
    )
    samples, peak_mb = done.stdout.split()
    return int(samples), float(peak_mb)
