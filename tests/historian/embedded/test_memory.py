"""What an hour needed while it was sealed is not kept until the next one."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

SEAL = """
import re, sys
from pathlib import Path
import numpy as np
from historian import EmbeddedStore, Frame, NS, Tag
from historian.retention import Keep
from historian.embedded.upkeep import Upkeep

def held():
    status = Path("/proc/self/status").read_text()
    return sum(map(int, re.findall(r"^(?:RssAnon|VmSwap):\\s*(\\d+) kB$", status, re.M)))

folder, t, chance = Path(sys.argv[1]), 1_800_000_000 * NS, np.random.default_rng(1)
store = EmbeddedStore.open(folder)
tags = store.register([Tag(f"a.t{n}.pv", "1") for n in range(100)])
numbers = np.repeat(np.array([tag.id for tag in tags.values()], np.int32), 60)
upkeep, found = Upkeep.open(folder, "line", Keep()), []
for hour in range(3):
    for minute in range(60):
        at = t + (hour * 60 + minute) * 60 * NS
        stamps = np.tile(at + np.arange(60) * NS, 100) + numbers * 1_000_000
        store.append(Frame.of(numbers, stamps, chance.normal(size=6000), np.zeros(6000), arrival_ns=at))
    kept = upkeep.step(t + (hour + 1) * 3600 * NS, seal_all=True)
    assert kept.frames == 60
    found.append(held())
print(*found)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_what_sealing_needs_is_given_back(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", SEAL, str(tmp_path / "data")],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    first, second, third = map(int, done.stdout.split())
    assert third < first + 8 * 1024, f"{first}, {second}, {third} kB"
    assert first < 110 * 1024
