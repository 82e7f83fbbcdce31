"""How much memory a reader takes, each in a process of its own."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from benchmarks.answers import same_rows
from benchmarks.figure import Figure
from benchmarks.plain_table import PlainTable
from benchmarks.prepared import Prepared
from benchmarks.reference_set import LONG_TAG, START_NS, tags

LIMIT_MB: Final = 300.0
_BYTES_A_SAMPLE: Final = 20  # time, value, quality

# Not ru_maxrss: over the start of a program that keeps the peak of the process that started it.
_OPEN: Final = """
import json, re, sys
from pathlib import Path
from historian.embedded.store import EmbeddedStore
def peak_mb():
    return int(re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1]) / 1024
store = EmbeddedStore.open(Path(sys.argv[1]), mode="read")
paths, start_ns, end_ns = sys.argv[4].split(","), int(sys.argv[2]), int(sys.argv[3])
store.read(paths[:2], start_ns, start_ns + 10**9)
before_mb = peak_mb()
"""
_ITERATE: Final = """
samples = sum(len(s) for block in store.blocks(paths, start_ns, end_ns) for s in block.values())
held_mb = 0.0
"""
_READ: Final = """
found = store.read(paths, start_ns, end_ns)
samples = sum(map(len, found.values()))
# Tags of one scan group may share one array of times, or a part of it: it is there once.
arrays = [getattr(s, c) for s in found.values() for c in ("time_ns", "value", "quality")]
held = {}
for a in arrays:
    while getattr(a.base, "nbytes", 0) and hasattr(a.base, "__array_interface__"):
        a = a.base
    held[a.__array_interface__["data"][0]] = a.nbytes
held_mb = sum(held.values()) / 2**20
"""
_TELL: Final = """
print(json.dumps([samples, peak_mb() - before_mb, held_mb]))
"""


@dataclass(frozen=True, slots=True)
class Taken:
    """What one reader took.

    Attributes:
        samples: how many it read.
        peak_mb: most memory at once, beyond that of an open store that has answered before.
        held_mb: what the answer itself holds.
    """

    samples: int
    peak_mb: float
    held_mb: float


def figures(data: Prepared) -> Iterator[Figure]:
    """Peak memory, MB; the plain way is to hold every sample that was asked for in plain arrays."""
    every, day = [t.path for t in tags()], (START_NS, data.end_ns)
    season = (START_NS, data.long_end_ns)
    for what, folder, paths, window, table in (
        (f"200 tags x {data.hours} h", data.store, every, day, data.plain),
        (f"1 tag x {data.days} days", data.long, [LONG_TAG.path], season, data.long_plain),
    ):
        taken = measured(folder, _ITERATE, paths, window)
        _check(taken, table, window)
        whole_mb = taken.samples * _BYTES_A_SAMPLE / 2**20
        yield Figure(
            f"iterating over {what}, peak MB against all in plain arrays",
            max(taken.peak_mb, 0.1), whole_mb, whole_mb / LIMIT_MB, True, data.quick, LIMIT_MB,
        )  # fmt: skip
    taken = measured(data.store, _READ, every, day)
    _check(taken, data.plain, day)
    yield Figure(
        f"reading 200 tags x {data.hours} h at once, peak MB beyond the answer against {LIMIT_MB:g}",
        max(taken.peak_mb - taken.held_mb, 0.1), LIMIT_MB, 1.0, True, data.quick,
        beside={"the answer": taken.held_mb},
    )  # fmt: skip


def measured(folder: Path, work: str, paths: list[str], window: tuple[int, int]) -> Taken:
    """Do the work on a store in a process of its own."""
    arguments = [str(folder), *map(str, window), ",".join(paths)]
    done = subprocess.run(
        [sys.executable, "-c", _OPEN + work + _TELL, *arguments], check=True, capture_output=True, text=True
    )
    return Taken(*json.loads(done.stdout))


def _check(taken: Taken, table: Path, window: tuple[int, int]) -> None:
    with closing(PlainTable(table)) as plain:
        same_rows([taken.samples], [plain.count(*window)], "samples that were read")
