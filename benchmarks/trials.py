"""The trial: what a report costs, and how near its phases lie to what was done."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from benchmarks import trials_phases
from benchmarks.figure import Figure
from benchmarks.prepared import BUILD, alone
from simulator.run import published_tags
from simulator.scenarios.file import load_scenario
from tests.support.whole_trial import NAME, whole_trial

TAGS: Final = 200
LENGTH_S, QUICK_S = 6 * 3600, 3 * 3600
REPORT_S, REPORT_MB, MEMORY_MB = 15.0, 5.0, 600.0
_SCENARIO: Final = "film_agglomerate"

# On one core; the peak as in benchmarks.memory.
_REPORT: Final = """
import json, os, re, sys, time
os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
began = time.perf_counter()
from meltledger.cli import main
try:
    main(["report", sys.argv[1], "--trial", sys.argv[2], "--to", sys.argv[3]])
except SystemExit as end:
    code = end.code
peak = int(re.search(r"VmHWM:\\s+(\\d+) kB", open("/proc/self/status").read())[1]) / 1024
print(json.dumps({"s": time.perf_counter() - began, "peak_mb": peak, "code": code}))
"""


def figures(quick: bool) -> Iterator[Figure]:
    """Report first, which needs the machine for itself."""
    with alone():
        yield from _report(quick)
    yield from trials_phases.figures(quick)


def _report(quick: bool) -> Iterator[Figure]:
    """Time, size and memory of a report in both forms."""
    length_s = QUICK_S if quick else LENGTH_S
    folder = BUILD / f"trial-{length_s}"
    shutil.rmtree(folder, ignore_errors=True)
    aux = TAGS - len(published_tags(load_scenario(_SCENARIO)))
    config = whole_trial(folder, until_s=length_s, judged=False, aux_channels=aux)
    out = folder / "out"
    told = subprocess.run(
        [sys.executable, "-c", _REPORT, str(config.path), NAME, str(out)],
        check=True,
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[1])},
    )
    said = json.loads(told.stdout.splitlines()[-1])
    if said["code"] != 0:
        raise RuntimeError(f"the report was not written: {told.stdout}{told.stderr}")
    size_mb = max(p.stat().st_size for p in out.iterdir()) / 1e6
    what = f"report of {length_s / 3600:g} h, {TAGS} tags"
    for name, ours, most in (
        ("s on one core", said["s"], REPORT_S),
        ("MB, the larger form", size_mb, REPORT_MB),
        ("MB of memory", said["peak_mb"], MEMORY_MB),
    ):
        yield Figure(f"{what}, {name}", ours, most, 1.0, less_is_better=True, quick=quick)
