"""Deleting the samples of a window for good: nothing of it stays, nothing beside it goes."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

import pytest

from historian.archive.disk import HostDisk
from historian.archive.manifest import DAY_NS
from historian.embedded.store import EmbeddedStore
from historian.embedded.upkeep import Upkeep
from historian.errors import StoreFull, WrongInput
from historian.frame import NS
from historian.retention import Keep, Window
from historian.rollups.columns import HOUR_NS, MINUTE_NS
from historian.rollups.files import RollupReader
from tests.historian.kept_line import EVER, PATHS, T0, Line, Rows, scan
from tests.historian.stopping import StoppingDisk

# From the middle of a minute to the middle of another, over the end of an hour.
WINDOW = (T0 + 30 * MINUTE_NS + 30 * NS, T0 + 90 * MINUTE_NS + 30 * NS)


@pytest.fixture
def line(tmp_path: Path) -> Iterator[Line]:
    made = Line(tmp_path)
    yield made
    made.store.close()


def forget(line: Line, windows: list[Window], now_ns: int, disk: HostDisk | None = None) -> int:
    upkeep = Upkeep.open(line.folder, "line-1", Keep(), disk=disk)
    try:
        return upkeep.forget(windows, now_ns)
    finally:
        upkeep.close()


def outside(rows: Rows, window: Window) -> Rows:
    return {path: [r for r in one if not window[0] <= r[0] < window[1]] for path, one in rows.items()}


def counted(line: Line, interval_ns: int) -> dict[int, int]:
    """Start of an interval → how many samples its rollup stands for."""
    rows = RollupReader(line.folder / "rollups").read(interval_ns, 0, 2**62)
    found: dict[int, int] = {}
    for start_ns, n in zip(rows.start_ns.tolist(), rows.samples.tolist(), strict=True):
        found[start_ns] = found.get(start_ns, 0) + n
    return found


def expected(line: Line, interval_ns: int, window: Window) -> dict[int, int]:
    found: dict[int, int] = {}
    for one in outside(line.expected(), window).values():
        for time_ns, _, _ in one:
            start_ns = time_ns // interval_ns * interval_ns
            found[start_ns] = found.get(start_ns, 0) + 1
    return found


@pytest.mark.parametrize("whole_days", [False, True], ids=["hours", "days"])
def test_samples_and_rollups_of_the_window_go_and_all_others_stay(line: Line, whole_days: bool) -> None:
    line.minutes(0, 240)
    now_ns = T0 + (2 * DAY_NS if whole_days else 6 * HOUR_NS)
    line.step(now_ns)
    before = sum(len(one) for one in line.expected().values())
    left = outside(line.expected(), WINDOW)
    gone = forget(line, [WINDOW], now_ns)
    assert gone == before - sum(len(one) for one in left.values()) > 0
    assert line.found() == left
    for interval_ns in (MINUTE_NS, HOUR_NS):
        assert counted(line, interval_ns) == expected(line, interval_ns, WINDOW)
    # The next steps and a second call bring nothing back and take nothing more.
    line.step(T0 + 3 * DAY_NS)
    assert forget(line, [WINDOW], T0 + 3 * DAY_NS) == 0
    assert line.found() == left
    assert counted(line, HOUR_NS) == expected(line, HOUR_NS, WINDOW)


def test_a_segment_that_is_left_with_nothing_goes_with_its_files(line: Line) -> None:
    line.minutes(0, 180)
    line.step(T0 + 6 * HOUR_NS)
    assert len(line.manifest.segments) == 3
    forget(line, [(T0 + HOUR_NS, T0 + 2 * HOUR_NS)], T0 + 6 * HOUR_NS)
    assert [(s.start_ns - T0) // HOUR_NS for s in line.manifest.segments] == [0, 2]
    named = {line.folder / "archive" / f.path for f in line.manifest.files()}
    assert set((line.folder / "archive").rglob("*.parquet")) == named
    listed = {line.folder / "rollups" / f.path for f in RollupReader(line.folder / "rollups").listed.files}
    assert set((line.folder / "rollups").rglob("*.parquet")) == listed


def test_what_was_replaced_in_the_window_goes_too(line: Line) -> None:
    line.minutes(0, 60)
    again = scan(T0 + 40 * MINUTE_NS, arrival_ns=T0 + HOUR_NS)
    line.append(type(again)(again.tag, again.time_ns, again.value + 7, again.quality, again.arrival_ns))
    line.step(T0 + 3 * HOUR_NS)
    with contextlib.closing(EmbeddedStore.open(line.folder, mode="read")) as reader:
        assert len(reader.modified(PATHS[0], *EVER)) == 3
    forget(line, [WINDOW], T0 + 3 * HOUR_NS)
    with contextlib.closing(EmbeddedStore.open(line.folder, mode="read")) as reader:
        assert reader.modified(PATHS[0], *EVER) == []


def test_the_newest_sample_of_a_tag_goes_when_it_lies_in_the_window(line: Line) -> None:
    line.minutes(0, 60)
    line.step(T0 + 3 * HOUR_NS)
    forget(line, [(T0 + 30 * MINUTE_NS, T0 + HOUR_NS)], T0 + 3 * HOUR_NS)
    with contextlib.closing(EmbeddedStore.open(line.folder, mode="read")) as reader:
        assert all(s.time_ns < T0 + 30 * MINUTE_NS for s in reader.latest().values())


def test_what_is_not_sealed_yet_is_not_deleted_by_halves(line: Line) -> None:
    line.minutes(0, 100)
    with pytest.raises(WrongInput, match="not sealed yet"):
        forget(line, [WINDOW], T0 + HOUR_NS + 40 * MINUTE_NS)
    assert line.found() == line.expected()


def test_wherever_it_is_stopped_the_next_call_ends_it(tmp_path: Path) -> None:
    for stop in range(200):
        line = Line(tmp_path / str(stop))
        try:
            line.minutes(0, 120, step=10)
            line.step(T0 + 3 * HOUR_NS)
            left = outside(line.expected(), WINDOW)
            disk = StoppingDisk(stop)
            try:
                forget(line, [WINDOW], T0 + 3 * HOUR_NS, disk)
            except StoreFull:
                forget(line, [WINDOW], T0 + 3 * HOUR_NS)
                done = False
            else:
                done = True
            assert line.found() == left
            assert counted(line, MINUTE_NS) == expected(line, MINUTE_NS, WINDOW)
            assert counted(line, HOUR_NS) == expected(line, HOUR_NS, WINDOW)
        finally:
            line.store.close()
        if done:
            assert stop > 10
            return
    pytest.fail("it never came to its end")
