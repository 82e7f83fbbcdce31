"""Whatever ends the writer, and whenever: what was acknowledged is on the server once."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from tests.historian.conformance import PATHS, seconds
from tests.historian.influx.line import QUICK, Line, kept, numbers
from tests.support.influx import Influxd

pytestmark = pytest.mark.influx

ROOT = Path(__file__).resolve().parents[3]

_WRITE = """
import sys, time
from pathlib import Path
import numpy as np
from historian.frame import NS, Frame
from historian.influx import InfluxStore, Place
from historian.influx.delivery import Pace
from tests.historian.conformance import TAGS, scan
url, database, line, folder = sys.argv[1:]
pace = Pace(first_wait_s=0.02, longest_wait_s=0.05)
store = InfluxStore.open(Place(url, database, line), Path(folder), patience_s=0.02, pace=pace)
store.register(TAGS)
while True:
    print(store.append(scan(store.last_number() + 1)), flush=True)
"""


def _killed(line: Line, chance: np.random.Generator) -> int:
    """Write in a process of its own while answers get lost and the server goes; kill it; the last acknowledged."""
    place = line.place
    command = [sys.executable, "-c", _WRITE, place.url, place.database, place.line, str(line.folder)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.readline()
        for _ in range(3):
            line.proxy.mood.lost = int(chance.integers(0, 3))
            line.proxy.mood.answers.extend([503] * int(chance.integers(0, 3)))
            time.sleep(float(chance.uniform(0.02, 0.15)))
        line.proxy.stop()
        time.sleep(float(chance.uniform(0.0, 0.1)))
        os.kill(process.pid, signal.SIGKILL)
        acknowledged = max(
            (int(row) for row in process.stdout.read().split("\n") if row.isdigit()), default=1
        )
    line.proxy.mood.lost, line.proxy.mood.answers[:] = 0, []
    line.proxy.start()
    return acknowledged


def _nothing_lost_or_doubled(influxd: Influxd, line: Line, rounds: int, chance: np.random.Generator) -> None:
    for _ in range(rounds):
        acknowledged = _killed(line, chance)
        store = line.writer(pace=QUICK)
        assert store.flush(30.0)
        last = store.last_number()
        assert last >= acknowledged
        assert numbers(line.reader()) == list(range(1, last + 1))
        assert kept(influxd, line) == last
        assert store.read(PATHS, *seconds(0, 10**6))[PATHS[0]].time_ns.tolist() == seconds(
            *range(1, last + 1)
        )
        store.close()


def test_kills_outages_and_lost_answers_lose_and_double_nothing(influxd: Influxd, line: Line) -> None:
    _nothing_lost_or_doubled(influxd, line, 3, np.random.default_rng(3))


@pytest.mark.long
@pytest.mark.timeout(600)
def test_thirty_kills_outages_and_lost_answers_lose_and_double_nothing(influxd: Influxd, line: Line) -> None:
    _nothing_lost_or_doubled(influxd, line, 30, np.random.default_rng(30))
