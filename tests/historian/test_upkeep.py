"""Rolling up and letting go together: rollups are there before raw samples go, wherever it is cut short."""

from __future__ import annotations

import contextlib
from pathlib import Path

import numpy as np
import pytest

from historian.archive.disk import Disk, HostDisk
from historian.archive.manifest import DAY_NS
from historian.archive.writer import ArchiveWriter
from historian.errors import StoreFull
from historian.frame import NS, Frame
from historian.retention import Keep, RetentionPlan
from historian.rollup_files import RollupReader
from historian.rollup_writer import RollupWriter, reader_of
from historian.rollups import HOUR_NS, MINUTE_NS
from historian.tags import Tag
from historian.upkeep import upkeep
from tests.historian.stopping import StoppingDisk

T0 = 1_893_456_000 * NS
TAG = Tag("filter.inlet.pressure.pv", "bar", id=1)
DAYS = 5


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    archive = ArchiveWriter.open(tmp_path / "archive", "line-1")
    frames = []
    for hour in range(0, DAYS * 24, 6):
        time_ns = T0 + hour * HOUR_NS + np.arange(0, 3600, 60) * NS
        value, quality = np.arange(60.0), np.zeros(60)
        frames.append(Frame.of([1] * 60, time_ns, value, quality, arrival_ns=int(time_ns[-1])))
    archive.seal(enumerate(frames, start=1), {1: TAG}, before_arrival_ns=2**62)
    archive.compact({1: TAG}, before_ns=T0 + DAYS * DAY_NS)
    return tmp_path


def keep_house(
    folder: Path, keep: Keep, disk: Disk | None = None, now_ns: int = T0 + 99 * DAY_NS
) -> RetentionPlan:
    disk = disk or HostDisk()
    archive = ArchiveWriter.open(folder / "archive", "line-1", disk=disk)
    rollups = RollupWriter(folder / "rollups", disk)
    return upkeep(archive, rollups, reader_of(folder / "archive"), {1: TAG.path}, keep, now_ns=now_ns)


def raw_days(folder: Path) -> set[int]:
    archive = ArchiveWriter.open(folder / "archive", "line-1")
    return {(s.start_ns - T0) // DAY_NS for s in archive.manifest.segments}


def rolled_days(folder: Path, interval_ns: int) -> dict[int, int]:
    rows = RollupReader(folder / "rollups").read(interval_ns, 0, 2**62)
    day = (rows.start_ns - T0) // DAY_NS
    return {int(d): int(rows.samples[day == d].sum()) for d in np.unique(day)}


def test_old_samples_go_and_their_rollups_stay(folder: Path) -> None:
    """The newest sample is 18 h into the last day: that is now, whatever the clock says."""
    plan = keep_house(folder, Keep.read(raw="2d"))
    assert len(plan.segments) == 2 and plan.waiting == ()
    assert raw_days(folder) == {2, 3, 4}
    for interval_ns in (MINUTE_NS, HOUR_NS):
        assert rolled_days(folder, interval_ns) == dict.fromkeys(range(DAYS), 240)
    assert keep_house(folder, Keep.read(raw="2d")).segments == ()


def test_minutes_go_before_hours(folder: Path) -> None:
    keep = Keep.read(raw="1d", minute="2d")
    keep_house(folder, keep)
    assert set(rolled_days(folder, MINUTE_NS)) == {2, 3, 4}
    assert set(rolled_days(folder, HOUR_NS)) == set(range(DAYS))
    keep_house(folder, keep)
    assert set(rolled_days(folder, MINUTE_NS)) == {2, 3, 4}, "what went does not come back"


@pytest.mark.parametrize("calls", range(0, 80, 3))
def test_a_stop_anywhere_loses_no_rollup(folder: Path, calls: int) -> None:
    keep = Keep.read(raw="2d")
    with contextlib.suppress(StoreFull):
        keep_house(folder, keep, StoppingDisk(calls))
    for interval_ns in (MINUTE_NS, HOUR_NS):
        rolled = rolled_days(folder, interval_ns)
        assert {d for d, n in rolled.items() if n == 240} | raw_days(folder) == set(range(DAYS))
    keep_house(folder, keep)
    assert raw_days(folder) == {2, 3, 4}
    assert rolled_days(folder, HOUR_NS) == dict.fromkeys(range(DAYS), 240)
