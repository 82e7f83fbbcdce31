"""Sealing, compacting and merging: the archive gives back what was written, whatever the order and the steps."""

from __future__ import annotations

import math
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian import NS, StoredDataDamaged, UnknownTag, WrongInput
from historian.archive.columns import REPEATED
from historian.archive.manifest import Kind, Level
from historian.archive.reader import ArchiveReader
from historian.archive.stamps import times_of
from historian.archive.writer import ArchiveWriter, load_manifest
from tests.historian.archive.lines import (
    DAY,
    EVER,
    HOUR,
    START,
    TAGS,
    Numbered,
    any_frames,
    frame,
    held,
    scans,
    sealed,
    slow,
    sound,
)


@settings(max_examples=30, deadline=None)
@given(any_frames(), st.data())
def test_what_was_sealed_in_any_steps_comes_back(
    tmp_path_factory: pytest.TempPathFactory, frames: Numbered, data: st.DataObject
) -> None:
    root = tmp_path_factory.mktemp("archive")
    writer = ArchiveWriter.open(root, "line 1")
    cuts = sorted(data.draw(st.lists(st.integers(0, len(frames)), max_size=3)))
    for a, b in zip([0, *cuts], [*cuts, len(frames)], strict=True):
        writer.seal(frames[a:b], TAGS)
        if data.draw(st.booleans()):
            writer.compact(TAGS, before_ns=EVER[1])
    assert writer.manifest.sealed_seq == len(frames)
    assert held(root) == slow(frames)
    assert sound(root, writer.manifest)
    assert load_manifest(root) == writer.manifest


def test_an_hour_is_a_wide_file_for_each_scan_group_and_a_long_one_for_the_rest(tmp_path: Path) -> None:
    frames = scans(1, 600)
    frames += [
        (601 + k, frame([(4, START + k * 97 * NS, k % 3, 0)], arrival_ns=START + HOUR)) for k in range(9)
    ]
    frames += [
        (701 + k, frame([(5, START + k * 31 * NS + 5, k / 7, 0)], arrival_ns=START + HOUR)) for k in range(9)
    ]
    manifest = sealed(tmp_path, frames).manifest
    (segment,) = manifest.segments
    assert (segment.level, segment.start_ns, segment.end_ns) == (Level.HOUR, START, START + HOUR)
    assert [(f.kind, f.tags, f.rows, f.samples) for f in segment.files] == [
        (Kind.WIDE, (1, 2, 3), 600, 1800),
        (Kind.LONG, (4, 5), 18, 18),
        (Kind.FRAMES, (), 618, 0),
    ]
    assert segment.samples == 1818
    assert segment.files[0].path == "line=line%201/day=2024-10-04/hour-00-00000002-wide-0.parquet"


def test_parquet_readers_see_true_values_times_and_arrivals_without_us(tmp_path: Path) -> None:
    frames = scans(1, 50)
    segment = sealed(tmp_path, frames).manifest.segments[0]
    table = pq.read_table(tmp_path / segment.files[0].path)
    assert str(table.schema.field("time").type) == "timestamp[ms, tz=UTC]"
    column = pq.ParquetFile(tmp_path / segment.files[0].path).schema.column(2)
    assert (column.physical_type, column.name) == ("INT32", "filter.inlet.pressure.pv")
    assert [float(v) for v in table["filter.inlet.pressure.pv"].to_pylist()] == [
        f.value[0] for _, f in frames
    ]
    joined = table.join(pq.read_table(tmp_path / segment.of_kind(Kind.FRAMES)[0].path), "seq").sort_by("seq")
    micros, rest = joined["arrival"].cast("int64").to_pylist(), joined["arrival#ns"].to_pylist()
    arrivals = [1_000 * us + ns for us, ns in zip(micros, rest, strict=True)]
    assert arrivals == [f.arrival_ns for _, f in frames]
    assert table.schema.field("die.pressure.pv").metadata[b"unit"] == b"bar"


def test_a_day_holds_what_its_hours_held_and_late_samples_still_merge_into_it(tmp_path: Path) -> None:
    frames = scans(1, 300, every_s=300)
    writer = sealed(tmp_path, frames)
    before = held(tmp_path)
    assert len(writer.manifest.segments) == 25
    assert writer.compact(TAGS, before_ns=START + DAY) == 1
    assert [s.level for s in writer.manifest.segments] == [Level.DAY, Level.HOUR]
    assert held(tmp_path) == before
    assert writer.compact(TAGS, before_ns=START + DAY) == 0
    late = [(301, frame([(1, START + HOUR + 3_000_000, 7.25, 0)], arrival_ns=START + 2 * DAY))]
    writer.seal(late, TAGS)
    assert [s.level for s in writer.manifest.segments] == [Level.DAY, Level.HOUR]
    assert held(tmp_path) == slow(frames + late)
    audit = writer.manifest.segments[0].of_kind(Kind.AUDIT)[0]
    row = pq.read_table(tmp_path / audit.path).to_pylist()[0]
    replaced = frames[12][1]
    assert (row["tag"], row["value"], row["seq"], row["replaced_by"]) == (
        TAGS[1].path,
        replaced.value[0],
        13,
        301,
    )
    assert row["arrival"].timestamp() == pytest.approx(replaced.arrival_ns / NS)


def test_the_audit_log_outlives_every_later_change(tmp_path: Path) -> None:
    time_ns = START + 5 * NS
    writer = sealed(tmp_path, [(1, frame([(1, time_ns, 1.0, 0)], arrival_ns=START))])
    for seq, value in enumerate([2.0, 2.0, math.nan], 2):
        writer.seal([(seq, frame([(1, time_ns, value, 0)], arrival_ns=START + seq))], TAGS)
    writer.compact(TAGS, before_ns=START + DAY)
    audit = writer.manifest.segments[0].of_kind(Kind.AUDIT)[0]
    rows = pq.read_table(tmp_path / audit.path).to_pylist()
    # The repetition of 2.0 modified nothing; it is there for the sake of the frame that it came in.
    found = [(r["value"], r["seq"], r["replaced_by"]) for r in rows]
    assert found == [(1.0, 1, 2), (2.0, 2, REPEATED), (2.0, 3, 4)]
    arrivals = times_of(pq.read_table(tmp_path / audit.path), "arrival").tolist()
    assert arrivals == [START, START + 2, START + 3]


def test_samples_of_two_clock_epochs_are_both_kept_and_uncertain(tmp_path: Path) -> None:
    one = frame([(1, START, 1.0, 0), (2, START, 5.0, 0x8000_0000)], arrival_ns=START)
    two = frame([(1, START, 2.0, 0), (2, START, 6.0, 0)], arrival_ns=START + 1, epoch=1)
    sealed(tmp_path, [(1, one), (2, two)])
    found = ArchiveReader(tmp_path).read([1, 2], START, START + 1)
    assert found[1].value.tolist() == [1.0, 2.0]
    assert found[1].quality.tolist() == [0x4000_0000, 0x4000_0000]
    assert found[2].quality.tolist() == [0x8000_0000, 0x4000_0000]


def test_frames_that_are_in_already_change_nothing(tmp_path: Path) -> None:
    frames = scans(1, 20)
    writer = sealed(tmp_path, frames)
    manifest = writer.manifest
    assert writer.seal(frames, TAGS) == 20
    assert writer.manifest == manifest


def test_only_frames_from_before_the_given_arrival_are_taken(tmp_path: Path) -> None:
    frames = scans(1, 20)
    writer = ArchiveWriter.open(tmp_path, "line 1")
    assert writer.seal(frames, TAGS, up_to_seq=7) == 7
    assert held(tmp_path) == slow(frames[:7])


def test_superseded_files_go_so_that_other_engines_see_no_sample_twice(tmp_path: Path) -> None:
    writer = sealed(tmp_path, scans(1, 50, every_s=300))
    writer.seal(scans(51, 5, at=START + 60 * NS), TAGS)
    writer.compact(TAGS, before_ns=START + DAY)
    there = {p.relative_to(tmp_path).as_posix() for p in tmp_path.glob("line=*/day=*/*")}
    assert there == {f.path for f in writer.manifest.files()}


@pytest.mark.parametrize("harm", ["an old manifest", "a file gone"])
def test_a_manifest_that_does_not_fit_the_files_stops_the_writer_before_it_deletes_any(
    tmp_path: Path, harm: str
) -> None:
    writer = sealed(tmp_path, scans(1, 50, every_s=300))
    old = (tmp_path / "manifest.json").read_bytes()
    writer.seal(scans(51, 5, at=START + 60 * NS), TAGS)
    writer.seal(scans(56, 5, at=START + DAY), TAGS)
    if harm == "an old manifest":
        (tmp_path / "manifest.json").write_bytes(old)
    else:
        (tmp_path / writer.manifest.files()[0].path).unlink()
    there = set(tmp_path.rglob("*"))
    with pytest.raises(StoredDataDamaged, match="doctor"):
        ArchiveWriter.open(tmp_path, "line 1")
    assert set(tmp_path.rglob("*")) == there


def test_what_does_not_belong_is_refused_and_nothing_changes(tmp_path: Path) -> None:
    writer = sealed(tmp_path, scans(1, 5))
    manifest = writer.manifest
    with pytest.raises(UnknownTag, match=r"\[9\]"):
        writer.seal([(6, frame([(9, START, 1.0, 0)], arrival_ns=START))], TAGS)
    with pytest.raises(WrongInput, match="line 1"):
        ArchiveWriter.open(tmp_path, "line 2")
    assert load_manifest(tmp_path) == manifest


def test_a_lost_manifest_is_no_reason_to_delete_segments(tmp_path: Path) -> None:
    writer = sealed(tmp_path, scans(1, 5))
    (tmp_path / "manifest.json").unlink()
    with pytest.raises(StoredDataDamaged, match="doctor"):
        ArchiveWriter.open(tmp_path, "line 1")
    assert all((tmp_path / f.path).exists() for f in writer.manifest.files())


def test_dropped_segments_are_gone_for_readers_at_once(tmp_path: Path) -> None:
    writer = sealed(tmp_path, scans(1, 300, every_s=60))
    reader = ArchiveReader(tmp_path)
    writer.drop(writer.manifest.segments[:2])
    assert reader.read([1], *EVER)[1].time_ns.min() >= START + 2 * HOUR
    assert writer.manifest.sealed_seq == 300
