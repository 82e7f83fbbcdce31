"""Reading: by tag and window, as a picture, the newest, beside a writer that changes things, and past damage."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian import NS, Frame, StoredDataDamaged, WrongInput
from historian.archive.columns import Columns
from historian.archive.files import OpenFile
from historian.archive.manifest import Kind
from historian.archive.reader import ArchiveReader
from historian.archive.writer import ArchiveWriter
from historian.envelope import envelope_of
from tests.historian.archive.lines import (
    DAY,
    EVER,
    HOUR,
    START,
    TAGS,
    Numbered,
    alike,
    any_frames,
    frame,
    scans,
    sealed,
    slow,
)


def _wave(seed: int, count: int, every_s: int) -> Numbered:
    """Two tags scanned together: equal extremes, bad bursts, values that are missing."""
    rng = np.random.default_rng(seed)
    found = []
    for k in range(count):
        time_ns = START + k * every_s * NS
        # A burst without values and one with them; most row groups are good throughout.
        bad, none = 5_000 <= k < 5_010 or 9_100 <= k < 9_130, k < 9_000
        value = float("nan") if bad and none else float(rng.integers(0, 6))
        rows = [(1, time_ns, value, 0x8000_0000 if bad else 0)]
        rows += [(2, time_ns, round(float(rng.normal()), 3), 0)] if rng.random() < 0.95 else []
        found.append((k + 1, frame(rows, arrival_ns=time_ns + 1)))
    return found


@pytest.fixture(scope="module")
def two_days(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("archive")
    writer = sealed(root, _wave(1, 17_280, 10))
    assert writer.compact(TAGS, before_ns=START + 2 * DAY) == 2
    return root


@settings(deadline=None, max_examples=15)
@given(any_frames(), st.integers(-2 * DAY, 2 * DAY), st.integers(-2 * DAY, 2 * DAY))
def test_a_window_holds_its_start_and_not_its_end(
    tmp_path_factory: pytest.TempPathFactory, frames: Numbered, a: int, b: int
) -> None:
    root = tmp_path_factory.mktemp("archive")
    sealed(root, frames)
    times = sorted({t for rows in slow(frames).values() for t, *_ in rows})
    start, end = sorted((times[a % len(times)], START + b))
    found = ArchiveReader(root).read(sorted(TAGS), start, end)
    expected = {tag: [t for t, *_ in rows if start <= t < end] for tag, rows in slow(frames).items()}
    assert {tag: s.time_ns.tolist() for tag, s in found.items() if len(s)} == {
        t: x for t, x in expected.items() if x
    }


def test_a_tag_that_is_not_there_has_no_samples(two_days: Path) -> None:
    assert len(ArchiveReader(two_days).read([99], *EVER)[99]) == 0


@pytest.mark.parametrize("columns", [1, 2, 7, 12, 100, 3_000, 50_000])
@pytest.mark.parametrize("tag", [1, 2])
@pytest.mark.parametrize("span", [(START, START + 2 * DAY), (START + 12_345, START + DAY + 5 * HOUR + 1)])
def test_a_picture_from_statistics_is_the_picture_of_all_samples(
    two_days: Path, columns: int, tag: int, span: tuple[int, int]
) -> None:
    reader = ArchiveReader(two_days)
    found = reader.envelope(tag, *span, columns)
    expected = envelope_of(reader.read([tag], *span)[tag], *span, columns)
    assert found.samples == expected.samples
    kept = np.isin(found.time_ns, expected.time_ns)
    assert kept.sum() == len(expected.time_ns)
    np.testing.assert_array_equal(found.value[kept], expected.value)
    # What is shown beside it comes from row groups that were read anyway, and is within the promised size.
    assert len(found.time_ns) == len(expected.time_ns) or len(found.time_ns) <= 4 * columns


def test_a_picture_of_few_columns_reads_few_row_groups(
    two_days: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    reader = ArchiveReader(two_days)
    read = 0
    whole = OpenFile.read

    def counted(self: OpenFile, *asked: Any, **more: Any) -> list[Columns]:
        nonlocal read
        parts = whole(self, *asked, **more)
        read += sum(map(len, parts))
        return parts

    monkeypatch.setattr(OpenFile, "read", counted)
    found = reader.envelope(2, START, START + 2 * DAY, 2)
    monkeypatch.undo()
    assert found.samples == len(reader.read([2], *EVER)[2])
    assert 0 < read < found.samples / 2


def test_a_picture_of_nothing_is_refused(two_days: Path) -> None:
    with pytest.raises(WrongInput):
        ArchiveReader(two_days).envelope(1, START, START, 10)


def test_the_newest_sample_of_each_tag_with_its_arrival(tmp_path: Path) -> None:
    frames = [
        *scans(1, 100, every_s=60),
        (101, frame([(5, START + NS, 3.5, 0x4090_0000)], arrival_ns=START + 7)),
    ]
    sealed(tmp_path, frames)
    found = ArchiveReader(tmp_path).latest()
    assert sorted(found) == [1, 2, 3, 5]
    assert (found[5].time_ns, found[5].value, found[5].quality, found[5].arrival_ns) == (
        START + NS,
        3.5,
        0x4090_0000,
        START + 7,
    )
    last = frames[99][1]
    assert (found[1].value, found[1].arrival_ns) == (last.value[0], last.arrival_ns)
    assert list(ArchiveReader(tmp_path).latest([3])) == [3]


def test_blocks_are_the_whole_in_pieces(two_days: Path) -> None:
    reader = ArchiveReader(two_days)
    whole = reader.read([1], START + 5, START + 2 * DAY)[1]
    parts = [b[1].value for b in reader.blocks([1], START + 5, START + 2 * DAY, 7 * HOUR)]
    assert len(parts) == 7
    np.testing.assert_array_equal(np.concatenate(parts), whole.value)


def test_a_reader_follows_a_writer_that_deletes_what_it_has_open(tmp_path: Path) -> None:
    frames = scans(1, 60, every_s=90)
    writer = sealed(tmp_path, frames[:10])
    early, late = ArchiveReader(tmp_path), ArchiveReader(tmp_path)
    for k in range(10, 60, 10):
        writer.seal(frames[k : k + 10], TAGS)
        assert len(early.read([1], *EVER)[1]) == k + 10
    writer.compact(TAGS, before_ns=START + DAY)
    assert len(late.read([1], *EVER)[1]) == 60


def test_an_archive_that_is_not_there_yet_is_empty_until_it_is(tmp_path: Path) -> None:
    reader = ArchiveReader(tmp_path / "archive")
    assert (reader.span(), reader.latest(), len(reader.read([1], *EVER)[1])) == (None, {}, 0)
    sealed(tmp_path / "archive", scans(1, 3))
    assert reader.span() == (START + 3_000_000, START + 2 * NS + 3_000_000)


def test_a_missing_or_torn_file_is_named_and_the_rest_reads(tmp_path: Path) -> None:
    writer = sealed(tmp_path, scans(1, 300, every_s=60))
    first, second = (s.of_kind(Kind.WIDE)[0] for s in writer.manifest.segments[:2])
    (tmp_path / first.path).unlink()
    body = (tmp_path / second.path).read_bytes()
    (tmp_path / second.path).write_bytes(body[: len(body) // 2])
    reader = ArchiveReader(tmp_path)
    with pytest.raises(StoredDataDamaged, match=r"hour-00.*doctor"):
        reader.read([1], START, START + HOUR)
    with pytest.raises(StoredDataDamaged, match=r"hour-01.*doctor"):
        reader.read([1], START + HOUR, START + 2 * HOUR)
    assert len(reader.read([1], START + 2 * HOUR, START + 3 * HOUR)[1]) == 60


def test_two_readings_are_alike_and_nothing_can_be_changed_through_them(two_days: Path) -> None:
    reader = ArchiveReader(two_days)
    a = reader.read([2], START, START + DAY)[2]
    alike(a, ArchiveReader(two_days).read([2], START, START + DAY)[2])
    assert isinstance(ArchiveWriter.open(two_days, "line 1"), ArchiveWriter)


@settings(deadline=None, max_examples=15)
@given(any_frames(), st.booleans(), st.integers(0, 9))
def test_frames_come_back_in_order_of_arrival_with_what_was_overwritten(
    tmp_path_factory: pytest.TempPathFactory, frames: Numbered, compacted: bool, after: int
) -> None:
    root = tmp_path_factory.mktemp("archive")
    writer = sealed(root, frames)
    if compacted:
        writer.compact(TAGS, before_ns=EVER[1])
    found = list(ArchiveReader(root).frames(after))
    given = dict(frames)
    assert [n for n, _ in found] == sorted({n for n, _ in found}) and all(n > after for n, _ in found)
    for number, back in found:
        assert (back.arrival_ns, back.clock_epoch) == (given[number].arrival_ns, given[number].clock_epoch)
        # Only what a later row repeated unchanged may be missing; nothing is there that had not come.
        came = _bits(given[number])
        assert all(came.count(row) >= 1 for row in _bits(back))
    came_later = {row for n, f in frames if n > after for row in _bits(f)}
    assert {row for _, f in found for row in _bits(f)} == came_later


def _bits(f: Frame) -> list[tuple[int, int, str, int, int]]:
    columns = (f.tag.tolist(), f.time_ns.tolist(), map(repr, f.value.tolist()), (f.quality >> 31).tolist())
    return [(*row, f.clock_epoch) for row in zip(*columns, strict=True)]


def test_a_long_history_is_replayed_in_blocks(two_days: Path) -> None:
    found = list(ArchiveReader(two_days).frames(10_000))
    assert [n for n, _ in found] == list(range(10_001, 17_281))
    assert [f.arrival_ns for _, f in found] == [START + (n - 1) * 10 * NS + 1 for n, _ in found]


def test_an_overwritten_sample_is_in_the_frame_that_brought_it(tmp_path: Path) -> None:
    frames = [(n, frame([(1, START, float(n), 0)], arrival_ns=START + n)) for n in (1, 2, 3)]
    sealed(tmp_path, frames)
    found = list(ArchiveReader(tmp_path).frames())
    assert [(n, f.value.tolist(), f.arrival_ns - START) for n, f in found] == [
        (1, [1.0], 1),
        (2, [2.0], 2),
        (3, [3.0], 3),
    ]
