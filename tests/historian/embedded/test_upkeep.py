"""Sealing, rolling up and letting go together: nothing is lost or doubled, wherever it is cut short."""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from historian.archive.manifest import DAY_NS, Level
from historian.embedded.recent import Recent
from historian.embedded.store import EmbeddedStore
from historian.embedded.upkeep import GRACE_NS, Upkeep
from historian.errors import StoredDataDamaged, StoreFull, WrongInput
from historian.frame import NS, Frame
from historian.quality import NO_DATA
from historian.retention import Keep
from historian.rollups.columns import HOUR_NS, MINUTE_NS
from historian.rollups.files import RollupReader
from tests.historian.kept_line import EVER, PATHS, T0, Line
from tests.historian.stopping import StoppingDisk


@pytest.fixture
def line(tmp_path: Path) -> Iterator[Line]:
    made = Line(tmp_path)
    yield made
    made.store.close()


def hours_of(line: Line) -> list[int]:
    return [(s.start_ns - T0) // HOUR_NS for s in line.manifest.segments]


def days_of(line: Line) -> list[int]:
    return [(s.start_ns - T0) // DAY_NS for s in line.manifest.segments]


def rolled(line: Line, interval_ns: int, unit_ns: int = DAY_NS) -> dict[int, int]:
    """Day, or another unit → how many samples the rollups stand for."""
    rows = RollupReader(line.folder / "rollups").read(interval_ns, 0, 2**62)
    unit = (rows.start_ns - T0) // unit_ns
    return {int(u): int(rows.samples[unit == u].sum()) for u in np.unique(unit)}


def test_an_hour_is_sealed_when_it_is_closed_and_the_grace_is_over(line: Line) -> None:
    line.minutes(2, 90)
    assert line.step(T0 + HOUR_NS + GRACE_NS - 1).frames == 0
    assert hours_of(line) == [] and line.recent_rows() == 88
    kept = line.step(T0 + HOUR_NS + GRACE_NS)
    # Minutes 60 and 61 had arrived before the grace was over; what they hold of hour 1 goes with them.
    assert (kept.frames, kept.days, line.manifest.sealed_seq) == (60, 0, 60)
    assert hours_of(line) == [0, 1]
    assert line.recent_rows() == 28
    assert line.found() == line.expected()


def test_the_rollups_of_what_was_sealed_are_there_at_once(line: Line) -> None:
    line.minutes(0, 60)
    kept = line.step(T0 + 2 * HOUR_NS)
    assert kept.rollups == 2
    assert rolled(line, MINUTE_NS, HOUR_NS) == rolled(line, HOUR_NS, HOUR_NS) == {0: 360}
    again = line.step(T0 + 2 * HOUR_NS)
    assert (again.frames, again.days, again.rollups) == (0, 0, 0)


def test_a_closed_day_is_made_of_its_hours(line: Line) -> None:
    line.minutes(0, 24 * 60, step=30)
    assert line.step(T0 + DAY_NS + GRACE_NS - 1).days == 0
    assert {s.level for s in line.manifest.segments} == {Level.HOUR}
    assert line.step(T0 + DAY_NS + GRACE_NS).days == 1
    assert {s.level for s in line.manifest.segments} == {Level.DAY}
    assert rolled(line, HOUR_NS) == {0: 48 * 6}
    assert line.found() == line.expected()


def test_what_comes_late_is_merged_at_the_next_sealing_and_rolled_up_again(line: Line) -> None:
    line.minutes(0, 60)
    line.step(T0 + HOUR_NS + GRACE_NS)
    late = T0 + HOUR_NS + 5 * MINUTE_NS
    line.append(Frame.of([1, 1], [T0 + 7 * NS, T0 + 20 * NS], [0.5, -3.0], [0, 0], arrival_ns=late))
    assert line.found() == line.expected(), "before it is sealed"
    line.step(T0 + 2 * HOUR_NS + GRACE_NS)
    assert line.recent_rows() == 0
    assert line.found() == line.expected()
    assert rolled(line, MINUTE_NS, HOUR_NS) == {0: 361}, "one is new, one replaced another"
    (modified,) = line.store.modified(PATHS[0], *EVER)
    assert (modified.value, modified.arrival_ns, modified.replaced_ns) == (20.0, T0 + 41 * NS, late)


def test_everything_is_sealed_at_once_when_asked_for(line: Line) -> None:
    line.minutes(0, 90)
    assert line.step(T0 + 90 * MINUTE_NS, seal_all=True).frames == 90
    assert line.recent_rows() == 0
    assert line.found() == line.expected()
    line.minutes(90, 100)
    line.step(T0 + 100 * MINUTE_NS, seal_all=True)
    assert hours_of(line) == [0, 1]
    assert line.found() == line.expected()


def test_a_clock_set_back_seals_nothing_and_loses_nothing(line: Line) -> None:
    line.minutes(0, 130)
    line.step(T0 + 2 * HOUR_NS + GRACE_NS)
    before = line.manifest
    line.minutes(130, 140)
    kept = line.step(T0 - 30 * DAY_NS, keep=Keep.read(raw="1d"))
    assert (kept.frames, kept.days, kept.gone.segments) == (0, 0, ())
    assert line.manifest == before
    assert line.found() == line.expected()


def test_a_clock_far_ahead_seals_early_makes_nothing_expire_and_later_frames_still_merge(line: Line) -> None:
    line.minutes(0, 30)
    kept = line.step(T0 + 4000 * DAY_NS, keep=Keep.read(raw="1d", minute="2d", hour="3d"))
    assert (kept.frames, kept.days, kept.gone.segments, kept.gone.rollups) == (30, 1, (), ())
    line.minutes(30, 60)
    assert line.found() == line.expected()
    line.step(T0 + HOUR_NS + GRACE_NS)
    assert line.recent_rows() == 0
    assert line.found() == line.expected()
    assert rolled(line, MINUTE_NS) == {0: 360}


def test_the_newest_samples_are_told_the_same_right_after_sealing(line: Line) -> None:
    bad = Frame.of([2], [T0 + 59 * MINUTE_NS + 41 * NS], [np.nan], [NO_DATA], arrival_ns=T0 + HOUR_NS)
    line.minutes(0, 60)
    line.append(bad)
    reader = EmbeddedStore.open(line.folder, mode="read")
    before = reader.latest()
    assert before[PATHS[1]].quality == NO_DATA and before[PATHS[0]].value == 59 * 60 + 40
    line.step(T0 + 2 * HOUR_NS)
    assert line.recent_rows() == 0
    fresh = EmbeddedStore.open(line.folder, mode="read")
    for one in (reader, fresh, line.store):
        assert repr(one.latest()) == repr(before)
    line.minutes(120, 121)
    for one in (reader, fresh, line.store):
        assert one.latest()[PATHS[0]].time_ns == T0 + (120 * 60 + 40) * NS
    reader.close()
    fresh.close()


def test_the_newest_sample_of_a_silent_tag_outlives_its_raw_samples(line: Line) -> None:
    """A set-point that was set once is known as long as the line is."""
    line.append(Frame.of([2], [T0], [4.0], [0], arrival_ns=T0))
    for day in range(6):
        at_ns = T0 + day * DAY_NS
        line.append(Frame.of([1], [at_ns], [1.0], [0], arrival_ns=at_ns))
    line.step(T0 + 7 * DAY_NS, keep=Keep.read(raw="2d"))
    assert line.store.read([PATHS[1]], *EVER)[PATHS[1]].time_ns.tolist() == []
    reader = EmbeddedStore.open(line.folder, mode="read")
    assert reader.latest()[PATHS[1]].value == 4.0
    reader.close()


def five_days(line: Line) -> None:
    for day in range(5):
        line.minutes(day * 1440, day * 1440 + 1200, step=300)


def test_old_samples_go_and_their_rollups_stay(line: Line) -> None:
    """The newest sample is 15 h into the last day: that is now, whatever the clock says."""
    five_days(line)
    now_ns = T0 + 99 * DAY_NS
    plan = line.step(now_ns, keep=Keep.read(raw="2d")).gone
    assert len(plan.segments) == 2 and plan.waiting == ()
    assert days_of(line) == [2, 3, 4]
    for interval_ns in (MINUTE_NS, HOUR_NS):
        assert rolled(line, interval_ns) == dict.fromkeys(range(5), 24)
    assert line.step(now_ns, keep=Keep.read(raw="2d")).gone.segments == ()


def test_minutes_go_before_hours_and_do_not_come_back(line: Line) -> None:
    five_days(line)
    for _ in range(2):
        line.step(T0 + 99 * DAY_NS, keep=Keep.read(raw="1d", minute="2d"))
        assert set(rolled(line, MINUTE_NS)) == {2, 3, 4}
        assert set(rolled(line, HOUR_NS)) == set(range(5))


def test_a_held_window_keeps_its_days_and_minutes_whatever_their_age(line: Line) -> None:
    five_days(line)
    trial = (T0 + DAY_NS + 3 * HOUR_NS, 2**63 - 1)
    keep = Keep.read(raw="1d", minute="1d", hour="1d")
    line.step(T0 + 99 * DAY_NS, [trial], keep=keep)
    assert days_of(line) == [1, 2, 3, 4]
    assert set(rolled(line, MINUTE_NS)) == {1, 2, 3, 4}
    line.step(T0 + 99 * DAY_NS, keep=keep)
    assert days_of(line) == [3, 4], "the trial is over"


def story(line: Line) -> Keep:
    """Days sealed already, a day that expires, late samples for it, hours and a day that are due."""
    for day in range(3):
        line.minutes(day * 1440, day * 1440 + 1200, step=300)
    line.step(T0 + 3 * DAY_NS + GRACE_NS)
    line.append(Frame.of([1, 1], [T0 + 5 * NS, T0 + 20 * NS], [0.5, 7.0], [0, 0], arrival_ns=T0 + 3 * DAY_NS))
    line.minutes(3 * 1440, 4 * 1440 + 200, step=100)
    return Keep.read(raw="2d")


NOW_NS = T0 + 4 * DAY_NS + 3 * HOUR_NS
RAW_FROM_NS = T0 + 2 * DAY_NS


def test_a_stop_at_any_call_of_the_disk_leaves_the_old_or_the_new_and_loses_nothing(tmp_path: Path) -> None:
    for calls in itertools.count(0, 5):
        line = Line(tmp_path / str(calls))
        keep = story(line)
        disk = StoppingDisk(calls)
        with contextlib.suppress(StoreFull):
            line.step(NOW_NS, keep=keep, disk=disk)
        check_whole(line)
        line.step(NOW_NS, keep=keep)
        check_whole(line)
        assert days_of(line)[0] == 2 and rolled(line, HOUR_NS)[0] == 25
        assert not list((line.folder / "archive").rglob("*.new"))
        line.store.close()
        if disk.left >= 0:
            break
    assert calls > 100, "it was cut short at every fifth call before"


def check_whole(line: Line) -> None:
    """Each sample is there, raw, or at least in the rollups where its time is up; none is doubled."""
    expected, found = line.expected(), line.found()
    stays = {p: [r for r in rows if r[0] >= RAW_FROM_NS] for p, rows in expected.items()}
    assert {p: [r for r in rows if r[0] >= RAW_FROM_NS] for p, rows in found.items()} == stays
    store = EmbeddedStore.open(line.folder, mode="read")
    rows = store.rollup(PATHS, T0, T0 + 5 * DAY_NS, HOUR_NS)
    store.close()
    for number, path in enumerate(PATHS, 1):
        times = np.array([t for t, *_ in expected[path]])
        hours, counts = np.unique(times - times % HOUR_NS, return_counts=True)
        mine = rows.of_tag(number)
        assert dict(zip(mine.start_ns.tolist(), mine.samples.tolist(), strict=True)) == dict(
            zip(hours.tolist(), counts.tolist(), strict=True)
        )


def test_rows_that_could_not_go_are_not_read_twice_and_go_the_next_time(
    line: Line, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise StoreFull("no space, for the test")

    line.minutes(0, 60)
    with monkeypatch.context() as patch:
        patch.setattr(Recent, "let_go", full)
        with pytest.raises(StoreFull):
            line.step(T0 + 2 * HOUR_NS)
    assert line.recent_rows() == 60 and hours_of(line) == [0]
    assert line.found() == line.expected()
    latest = line.store.latest()
    assert line.step(T0 + 2 * HOUR_NS).frames == 0
    assert line.recent_rows() == 0
    assert line.found() == line.expected()
    reader = EmbeddedStore.open(line.folder, mode="read")
    assert reader.latest() == latest
    reader.close()


def test_a_folder_without_its_newest_samples_is_not_begun_again(line: Line) -> None:
    line.minutes(0, 60)
    line.step(T0 + 2 * HOUR_NS)
    line.store.close()
    (line.folder / "recent.db").unlink()
    with pytest.raises(StoredDataDamaged, match="meltledger doctor"):
        line.step(T0 + 3 * HOUR_NS)
    assert not (line.folder / "recent.db").exists()
    with pytest.raises(WrongInput, match="no store here"):
        Upkeep.open(line.folder / "elsewhere", "line-1", Keep())
    assert not (line.folder / "elsewhere").exists()


def test_the_folder_of_another_line_is_left_alone(line: Line) -> None:
    line.minutes(0, 60)
    line.step(T0 + 2 * HOUR_NS)
    with pytest.raises(WrongInput, match="line-1"):
        Upkeep.open(line.folder, "line-2", Keep())
