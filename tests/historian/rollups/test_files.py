"""Rollups on disk: what was made comes back, late samples change it, what has gone raw stays, crashes cost nothing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import nullcontext
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.archive.disk import HostDisk
from historian.archive.manifest import DAY_NS
from historian.archive.writer import ArchiveWriter
from historian.errors import StoredDataDamaged, StoreFull
from historian.frame import NS, Frame
from historian.quality import NO_DATA
from historian.rollups.columns import COLUMNS, HOUR_NS, MINUTE_NS, Rollup, rollup_of
from historian.rollups.files import RollupReader, decode, encode
from historian.rollups.writer import RollupWriter, reader_of
from historian.tags import Tag
from tests.historian.rollups.test_columns import same
from tests.historian.samples import scattered
from tests.historian.stopping import StoppingDisk

T0 = 1_893_456_000 * NS
PATHS = {1: "filter.inlet.pressure.pv", 2: "filter.outlet.pressure.pv", 3: "pelletizer.run.state"}
TAGS = {n: Tag(p, "bar", id=n) for n, p in PATHS.items()}


def minute_of(hour: int, minute: int, *, value: float = 1.0, arrival_s: int = 0) -> Frame:
    """A minute of three tags at 1 Hz, the third bad in every tenth second."""
    second = hour * 3600 + minute * 60 + np.arange(60)
    time_ns = np.tile(T0 + second * NS, 3)
    tag = np.repeat([1, 2, 3], 60)
    bad = (tag == 3) & (np.tile(second, 3) % 10 == 0)
    values = np.where(bad, np.nan, value + np.tile(second % 7, 3) / 10)
    return Frame.of(
        tag, time_ns, values, np.where(bad, NO_DATA, 0), arrival_ns=T0 + (arrival_s or int(second[-1])) * NS
    )


class Line:
    """An archive with its rollups in a folder, and every frame that went in."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.archive = ArchiveWriter.open(folder / "archive", "line-1")
        self.rollups = RollupWriter(folder / "rollups", HostDisk())
        self.frames: list[Frame] = []

    def seal(self, *frames: Frame) -> None:
        self.frames += frames
        numbered = enumerate(self.frames, start=1)
        self.archive.seal(numbered, TAGS)

    def bring_up(self) -> int:
        return self.rollups.bring_up(
            self.archive.manifest.segments, reader_of(self.folder / "archive"), PATHS
        )

    def expected(self, interval_ns: int) -> Rollup:
        whole = Frame.of(
            *(
                np.concatenate([getattr(f, c) for f in self.frames])
                for c in ("tag", "time_ns", "value", "quality")
            ),
            arrival_ns=0,
        )
        return rollup_of(whole.tag, whole.time_ns, whole.value, whole.quality, interval_ns)


@pytest.fixture
def line(tmp_path: Path) -> Line:
    return Line(tmp_path)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 300), st.integers(0, 10_000), st.sampled_from([1, 1_000, 1_000_000]))
def test_rows_come_back_bit_for_bit(n: int, seed: int, step_ns: int) -> None:
    frame = scattered(n, seed)
    made = rollup_of(frame.tag, frame.time_ns * step_ns, frame.value, frame.quality, 100 * step_ns)
    read = decode(pq.read_table(pa.BufferReader(encode(made, PATHS, {}))))
    for name in COLUMNS:
        np.testing.assert_array_equal(getattr(read, name), getattr(made, name), err_msg=name)


def test_minutes_and_hours_of_sealed_samples(line: Line) -> None:
    line.seal(*(minute_of(h, m, value=h) for h in (0, 1, 30) for m in range(60)))
    assert line.bring_up() == 3, "two days of minutes, one month of hours"
    assert line.bring_up() == 0
    reader = RollupReader(line.folder / "rollups")
    for interval_ns in (MINUTE_NS, HOUR_NS):
        same(reader.read(interval_ns, 0, 2**62), line.expected(interval_ns))
    window = reader.read(MINUTE_NS, T0 + HOUR_NS, T0 + 30 * HOUR_NS, tag=3)
    same(window, line.expected(MINUTE_NS).of_tag(3).between(T0 + HOUR_NS, T0 + 30 * HOUR_NS))
    assert (window.bad == 6).all()


def test_only_the_columns_asked_for_are_read(line: Line) -> None:
    line.seal(*(minute_of(0, m) for m in range(60)))
    line.bring_up()
    got = line.rollups.reader.read(MINUTE_NS, 0, 2**62, columns=["maximum"])
    np.testing.assert_array_equal(got.maximum, line.expected(MINUTE_NS).maximum)
    assert not got.minimum.any()


def test_late_samples_and_days_made_of_hours_change_the_rollups(line: Line) -> None:
    line.seal(*(minute_of(0, m) for m in range(0, 60, 2)))
    line.bring_up()
    line.seal(*(minute_of(0, m, value=5.0, arrival_s=90_000 + m) for m in range(1, 60, 2)))
    assert line.bring_up() == 2
    line.archive.compact(TAGS, before_ns=T0 + DAY_NS)
    assert line.bring_up() == 2
    for interval_ns in (MINUTE_NS, HOUR_NS):
        same(line.rollups.reader.read(interval_ns, 0, 2**62), line.expected(interval_ns))


def test_rollups_outlive_the_raw_samples_and_late_ones_are_added(line: Line) -> None:
    line.seal(*(minute_of(0, m) for m in range(50)))
    line.bring_up()
    line.archive.drop(line.archive.manifest.segments)
    assert line.bring_up() == 0
    line.seal(minute_of(0, 50, value=9.0, arrival_s=90_000))
    assert line.bring_up() == 2
    for interval_ns in (MINUTE_NS, HOUR_NS):
        same(line.rollups.reader.read(interval_ns, 0, 2**62), line.expected(interval_ns))


@pytest.mark.parametrize("calls", range(16))
def test_a_stop_anywhere_leaves_rollups_that_are_true_or_known_to_be_behind(line: Line, calls: int) -> None:
    line.seal(*(minute_of(0, m) for m in range(30)))
    line.bring_up()
    line.seal(*(minute_of(0, m) for m in range(30, 40)))
    segments = line.archive.manifest.segments
    read = reader_of(line.folder / "archive")
    stopping = RollupWriter(line.folder / "rollups", StoppingDisk(calls))
    with pytest.raises(StoreFull) if calls < 15 else nullcontext():
        stopping.bring_up(segments, read, PATHS)
    after = RollupReader(line.folder / "rollups")
    for interval_ns in (MINUTE_NS, HOUR_NS):
        if not after.listed.behind(segments, interval_ns):
            same(after.read(interval_ns, 0, 2**62), line.expected(interval_ns))
    RollupWriter(line.folder / "rollups", HostDisk()).bring_up(segments, read, PATHS)
    after.refresh()
    for interval_ns in (MINUTE_NS, HOUR_NS):
        same(after.read(interval_ns, 0, 2**62), line.expected(interval_ns))


def test_a_damaged_file_is_told_by_its_name(line: Line) -> None:
    line.seal(minute_of(0, 0))
    line.bring_up()
    (entry,) = [f for f in line.rollups.reader.listed.files if f.interval_ns == MINUTE_NS]
    path = line.folder / "rollups" / entry.path
    path.write_bytes(b"not parquet")
    with pytest.raises(StoredDataDamaged, match=r"00000001\.parquet"):
        RollupReader(line.folder / "rollups").read(MINUTE_NS, 0, 2**62)


def test_a_reader_follows_a_writer_that_supersedes_its_files(line: Line) -> None:
    line.seal(minute_of(0, 0))
    line.bring_up()
    reader = RollupReader(line.folder / "rollups")
    for minute in range(1, 4):
        line.seal(minute_of(0, minute))
        line.bring_up()
    same(reader.read(MINUTE_NS, 0, 2**62), line.expected(MINUTE_NS))
    for path in (line.folder / "rollups").rglob("*.parquet"):
        path.unlink()
    with pytest.raises(StoredDataDamaged, match="not there"):
        RollupReader(line.folder / "rollups").read(MINUTE_NS, 0, 2**62)


def test_of_many_days_only_the_files_used_last_stay_open(line: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("historian.rollups.files._OPEN", 2)
    for day in range(4):
        line.seal(minute_of(24 * day, 0))
        line.bring_up()
    assert open_rollups(line) == 0, "the writer needs none before the next hour"
    reader = RollupReader(line.folder / "rollups")
    same(reader.read(MINUTE_NS, 0, 2**62), line.expected(MINUTE_NS))
    assert open_rollups(line) == 2
    same(reader.read(MINUTE_NS, 0, 2**62), line.expected(MINUTE_NS))


def open_rollups(line: Line) -> int:
    """How many of the line's files of rollups this process has open."""
    handles = [f for f in Path("/proc/self/fd").iterdir() if f.exists()]
    return sum(str(f.resolve()).startswith(str(line.folder / "rollups")) for f in handles)


def test_other_programs_read_names_and_times(line: Line) -> None:
    line.seal(minute_of(0, 0))
    line.bring_up()
    table = pq.read_table(next((line.folder / "rollups" / "minute").rglob("*.parquet")), partitioning=None)
    assert table["path"].to_pylist() == list(PATHS.values())
    assert str(table.schema.field("start_ns").type) == "timestamp[ms, tz=UTC]"


def test_dropped_files_go_with_the_next_change(line: Line) -> None:
    line.seal(minute_of(0, 0), minute_of(30, 0))
    line.bring_up()
    first = line.rollups.reader.listed.between(MINUTE_NS, T0, T0 + 1)
    line.rollups.drop(first)
    assert (line.folder / "rollups" / first[0].path).exists()
    line.rollups.drop([])
    assert not (line.folder / "rollups" / first[0].path).exists()
    assert set(listed_and_there(line)) == {(True, True)}


def listed_and_there(line: Line) -> Iterator[tuple[bool, bool]]:
    root = line.folder / "rollups"
    named = {f.path for f in line.rollups.reader.listed.files}
    there = {p.relative_to(root).as_posix() for p in root.rglob("*.parquet")}
    return ((p in named, p in there) for p in named | there)
