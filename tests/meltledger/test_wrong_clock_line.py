"""A running line and a machine whose clock is years ahead: kept under arrival; what it stamped comes back."""

from __future__ import annotations

import asyncio
import time
from pathlib import Path

import numpy as np

from collector import WallClock
from historian import NS, EmbeddedStore
from historian.archive.manifest import DAY_NS
from historian.clocks.originals import original_times, shift_path, shift_window
from historian.quality import UNCERTAIN
from meltledger.config import load
from meltledger.wiring import run_line
from rules.journal import Journal
from tests.meltledger.test_keeping import _FILE, until
from tests.support.served_line import served_elsewhere
from tests.support.small_line import PRESSURE, TAGS, SmallLine

AHEAD_T0_NS = time.time_ns() // NS * NS + 1000 * DAY_NS


class YearAhead(WallClock):
    """This computer's clock, mistyped."""

    def now_ns(self) -> int:
        return time.time_ns() + 365 * DAY_NS


async def test_what_the_machine_stamped_can_be_had_again(tmp_path: Path) -> None:
    path = tmp_path / "line.toml"
    with served_elsewhere(SmallLine(t0_ns=AHEAD_T0_NS)) as line:
        text = _FILE.format(endpoint=line.serving.endpoint)
        for tag in TAGS:
            node = f"nsu=urn:meltledger:simulated-line;s={tag.path}"
            text += f'"{tag.path}" = {{ node = "{node}", unit = "{tag.unit}" }}\n'
        path.write_text(text, encoding="utf-8")
        config = load(path)
        for clock in (WallClock(), YearAhead()):
            stop = asyncio.Event()
            task = asyncio.create_task(run_line(config, stop, clock=clock))
            await asyncio.sleep(0)
            await until((config.folder / "recent.db").exists)
            reader = EmbeddedStore.open(config.folder, mode="read")
            count = _valued(reader)
            await until(lambda: _valued(reader) > count + 3)  # noqa: B023
            reader.close()
            stop.set()
            await task
    reader = EmbeddedStore.open(config.folder, mode="read")
    series = reader.read([PRESSURE], 0, 2**62)[PRESSURE]
    valued = ~np.isnan(series.value)
    now_ns = time.time_ns()
    assert (np.abs(series.time_ns - now_ns) < 600 * NS).all(), "on no wrong day, by whichever clock"
    assert set(series.quality[valued].tolist()) == {UNCERTAIN}
    shifts = reader.read([shift_path("small-line")], *shift_window(2**62))[shift_path("small-line")]
    times, known = original_times(series.time_ns[valued], shifts)
    assert known.all()
    # The first value after the gap between the runs stands just after the gap's mark.
    confirmed = np.concatenate(([False], ~valued[:-1]))[valued]
    second = (times[~confirmed] - AHEAD_T0_NS) // NS
    assert (times[~confirmed] == AHEAD_T0_NS + second * NS).all()
    assert len(second) > 4 and (second >= 0).all() and (second < 600).all()
    reader.close()
    journal = Journal.open(config.journal, "read")
    kinds = [str(e.data.get("kind", "")) for e in journal.entries()]
    journal.close()
    assert "clock-wrong" in kinds and "edge-clock-doubted" in kinds


def _valued(reader: EmbeddedStore) -> int:
    if PRESSURE not in reader.tags():
        return 0
    return int((~np.isnan(reader.read([PRESSURE], 0, 2**62)[PRESSURE].value)).sum())
