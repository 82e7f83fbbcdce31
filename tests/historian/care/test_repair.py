"""What is wrong with a folder is found, and mended from what is there, without losing or doubling a sample."""

from __future__ import annotations

import contextlib
import itertools
import shutil
import sqlite3
import threading
from pathlib import Path

import pytest

from historian.archive.disk import HostDisk
from historian.archive.manifest import NAME
from historian.archive.writer import ArchiveWriter
from historian.care import Finding, Trouble, judge, look, repair
from historian.embedded.store import EmbeddedStore
from historian.errors import StoreFull, StoreReadOnly, WrongInput
from historian.frame import Frame
from historian.rollups.columns import HOUR_NS, MINUTE_NS
from historian.rollups.files import RollupReader
from tests.historian.care.lines import T0, Folder, expected, flip, scan
from tests.historian.stopping import StoppingDisk


@pytest.fixture
def line(tmp_path: Path) -> Folder:
    return Folder(tmp_path / "store")


def found(line: Folder) -> list[Finding]:
    return judge(look(line.folder))


def troubles(line: Folder) -> list[Trouble]:
    return [f.trouble for f in found(line)]


def mend(line: Folder) -> str:
    _, deeds = repair(line.folder, HostDisk())
    assert [f for f in found(line) if not f.trouble.is_note] == [], "nothing is left to mend"
    return "\n".join(deeds)


def test_a_sound_folder_has_nothing_to_find_and_is_left_alone(line: Folder) -> None:
    before = contents(line.folder)
    assert found(line) == []
    assert repair(line.folder, HostDisk()) == ([], [])
    assert contents(line.folder) == before
    assert line.samples() == expected(180)


def contents(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in folder.rglob("*")
        if p.is_file() and not p.name.endswith(("-wal", "-shm"))
    }


def test_a_store_of_the_first_form_without_segments_is_sound(tmp_path: Path) -> None:
    line = Folder(tmp_path / "store", hours=1, sealed=0, tidy=False)
    shutil.rmtree(line.folder / "archive", ignore_errors=True)
    shutil.rmtree(line.folder / "rollups", ignore_errors=True)
    assert found(line) == []


@pytest.mark.parametrize("at", [8, 200, -1])
def test_a_changed_byte_in_a_segment_costs_that_file_only(line: Folder, at: int) -> None:
    flip(line.path(0, "wide"), at)
    (finding,) = found(line)
    assert finding.trouble is Trouble.DAMAGED and "check sum" in finding.text
    assert (finding.start_ns, finding.end_ns) == (T0, T0 + HOUR_NS)
    deeds = mend(line)
    assert "is lost with its 720 samples" in deeds and "set aside" in deeds
    aside = {p.name.rsplit("-", 1)[1] for p in (line.folder / "damaged").iterdir()}
    assert aside == {"0.parquet", "frames.parquet"}, "what is left of it is kept for a person to look at"
    assert line.samples() == expected(180, start=60)


def test_a_file_that_is_cut_short_or_gone_is_told_apart(line: Folder) -> None:
    wide = line.path(0, "wide")
    wide.write_bytes(wide.read_bytes()[:-10])
    assert "bytes instead of" in found(line)[0].text
    wide.unlink()
    assert troubles(line) == [Trouble.MISSING]
    mend(line)
    assert line.samples() == expected(180, start=60)


def test_a_day_that_is_damaged_comes_back_from_the_hours_that_are_still_there(line: Folder) -> None:
    line.compact(hours_stay=True)
    line.roll_up()
    flip(line.path(0, "wide"))
    said = mend(line)
    assert "back from an earlier form" in said and "deleted" not in said
    assert line.samples() == expected(180)


def test_samples_stay_when_only_their_arrivals_are_lost_and_late_ones_still_merge(line: Folder) -> None:
    line.path(1, "frames").unlink()
    deeds = mend(line)
    assert "source time stands for it" in deeds and "samples are lost" not in deeds
    assert line.samples() == expected(180)
    store = EmbeddedStore.open(line.folder)
    late = scan(90)
    store.append(Frame(late.tag, late.time_ns, late.value + 0.5, late.quality, T0 + 4 * HOUR_NS))
    store.close()
    line.step(T0 + 6 * HOUR_NS)
    assert {(tag, at, value + 0.5) for tag, at, value in expected(91, start=90)} <= line.samples()
    assert len(line.samples()) == len(expected(180)), "each of them in place of the one before"


@pytest.mark.parametrize("how", ["gone", "changed"])
def test_a_lost_list_is_written_again_from_the_files(line: Folder, how: str) -> None:
    before = line.manifest
    for folder in ("archive", "rollups"):
        path = line.folder / folder / NAME
        if how == "gone":
            path.unlink()
        else:
            flip(path, 40)
    assert troubles(line)[:2] == [Trouble.LIST, Trouble.LIST]
    mend(line)
    assert line.manifest.segments[:2] == before.segments
    assert line.manifest.generation > before.generation
    assert line.manifest.sealed_seq >= before.sealed_seq
    assert line.samples() == expected(180)
    rollups = RollupReader(line.folder / "rollups")
    assert rollups.read(MINUTE_NS, 0, T0 + 2 * HOUR_NS).samples.sum() == 2 * 720
    assert found(line) == []


def test_a_list_written_again_seals_once_more_what_is_still_recent(tmp_path: Path) -> None:
    """A sealing that was cut short may have told too high a number."""
    line = Folder(tmp_path / "store", tidy=False)
    (line.folder / "archive" / NAME).unlink()
    _, deeds = repair(line.folder, HostDisk())
    assert "archive: 121 frames of closed hours were sealed" in deeds, "the sealed ones as well"
    assert found(line) == []
    assert line.samples() == expected(180)
    assert line.modified() == []


def test_a_damaged_segment_is_sealed_again_from_rows_that_are_still_recent(tmp_path: Path) -> None:
    line = Folder(tmp_path / "store", tidy=False)
    flip(line.path(1, "wide"))
    mend(line)
    assert line.samples() == expected(180)
    assert found(line) == []
    assert line.modified() == []


def test_files_that_no_list_can_name_are_kept_when_the_list_is_lost(line: Folder) -> None:
    wide = line.path(0, "wide").relative_to(line.folder / "archive").as_posix()
    flip(line.path(0, "frames"), 4)
    (line.folder / "archive" / NAME).unlink()
    mend(line)
    ArchiveWriter.open(line.folder / "archive", "line-1")
    aside = {p.name for p in (line.folder / "damaged").iterdir()}
    assert f"archive__{wide.replace('/', '__')}" in aside


def test_leavings_are_told_and_cleared_away(line: Folder) -> None:
    stray = line.path(0, "wide").with_name("hour-00-00000099-wide-0.parquet")
    stray.write_bytes(b"half")
    assert troubles(line) == [Trouble.LEFTOVER]
    assert "no list named it" in mend(line)
    assert not stray.exists()


def test_a_damaged_row_is_set_aside_and_the_others_read(line: Folder) -> None:
    change(
        line,
        "UPDATE rows SET body=zeroblob(length(body)) WHERE seq=(SELECT min(seq)+2 FROM rows WHERE seq=first_seq)",
    )
    (finding,) = found(line)
    assert finding.trouble is Trouble.DAMAGED and finding.where.startswith("recent.db, row")
    _, deeds = repair(line.folder, HostDisk())
    assert "set aside as damaged/recent-row-" in deeds[0] and "12 samples are lost" in deeds[0]
    assert troubles(line) == [Trouble.NUMBERS], "the gap stays told"
    assert len(expected(180) - line.samples()) == 12


def test_frames_on_either_side_of_a_gap_in_the_numbers_keep_theirs_when_they_are_folded(
    tmp_path: Path,
) -> None:
    line = Folder(tmp_path / "store", hours=1, sealed=0, tidy=False)
    store = EmbeddedStore.open(line.folder)
    store.append(*(scan(minute) for minute in range(60, 64)))
    store.close()
    change(line, "DELETE FROM rows WHERE seq=62")
    store = EmbeddedStore.open(line.folder)
    store._recent.fold(2**62)
    assert [n for n, _ in store.frames(59)] == [60, 61, 63, 64]
    store.close()
    assert troubles(line) == [Trouble.NUMBERS], "and no row tells other frames than it holds"
    assert expected(180, start=62) & line.samples() == expected(64, start=62)


def change(line: Folder, statement: str) -> None:
    db = sqlite3.connect(line.folder / "recent.db")
    with db:
        db.execute(statement)
    db.close()


def test_missing_frames_are_told_by_their_numbers(line: Folder) -> None:
    change(line, "DELETE FROM rows WHERE seq=(SELECT min(seq) FROM rows)")
    (finding,) = found(line)
    assert finding.trouble is Trouble.NUMBERS and "arrival numbers 121 to" in finding.text


def test_closed_hours_that_nobody_sealed_are_told(tmp_path: Path) -> None:
    line = Folder(tmp_path / "store", hours=5, sealed=1)
    (finding,) = found(line)
    assert finding.trouble is Trouble.UNSEALED
    assert (finding.start_ns, finding.end_ns) == (T0 + HOUR_NS, T0 + 3 * HOUR_NS)
    assert "safe in recent.db" in finding.text and "--repair" in finding.text
    (beside,) = judge(look(line.folder), is_written=True)
    assert "at work here" in beside.text and "--repair" not in beside.text
    assert "frames of closed hours were sealed" in mend(line)
    assert found(line) == [] and line.samples() == expected(300)
    assert line.manifest.segments[-1].end_ns == T0 + 5 * HOUR_NS


def test_what_a_stopped_line_left_to_be_sealed_is_a_note_and_is_sealed(line: Folder) -> None:
    now_ns = T0 + 4 * HOUR_NS
    (finding,) = judge(look(line.folder), now_ns=now_ns)
    assert finding.trouble is Trouble.DUE and finding.trouble.is_note
    assert (finding.start_ns, finding.end_ns) == (T0 + 2 * HOUR_NS, T0 + 3 * HOUR_NS)
    assert judge(look(line.folder), now_ns=now_ns, is_written=True) == []
    _, deeds = repair(line.folder, HostDisk(), now_ns=now_ns)
    assert deeds[0] == "archive: 60 frames of closed hours were sealed"
    assert judge(look(line.folder), now_ns=now_ns) == []
    assert line.samples() == expected(180)


def test_a_line_whose_name_is_not_known_is_left_to_its_own_run(tmp_path: Path) -> None:
    line = Folder(tmp_path / "store", hours=5, sealed=0, tidy=False)
    shutil.rmtree(line.folder / "archive")
    (line.folder / "tags.json").unlink()
    _, (deed,) = repair(line.folder, HostDisk())
    assert "line's name is not known" in deed
    assert not (line.folder / "archive").exists()
    assert line.samples() == expected(300)


def test_hours_without_a_sample_are_a_note(line: Folder) -> None:
    writer = ArchiveWriter.open(line.folder / "archive", "line-1")
    writer.drop([line.manifest.segments[1]])
    (finding,) = found(line)
    assert finding.trouble is Trouble.HOLE and finding.trouble.is_note
    assert (finding.start_ns, finding.end_ns) == (T0 + HOUR_NS, T0 + 2 * HOUR_NS)


def test_segments_that_are_not_rolled_up_are_a_note(line: Folder) -> None:
    line.compact()
    assert troubles(line) == [Trouble.BEHIND, Trouble.BEHIND]
    line.roll_up()
    assert found(line) == []


def test_damaged_rollups_are_made_again(line: Folder) -> None:
    (file,) = (line.folder / "rollups" / "minute").rglob("*.parquet")
    flip(file)
    assert troubles(line)[0] is Trouble.DAMAGED
    assert "files were written, from the raw samples" in mend(line)
    rows = RollupReader(line.folder / "rollups").read(MINUTE_NS, 0, T0 + 2 * HOUR_NS)
    assert rows.samples.sum() == 2 * 720


def test_a_writer_at_work_is_not_disturbed(line: Folder) -> None:
    db = sqlite3.connect(line.folder / "recent.db", isolation_level=None)
    db.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreReadOnly, match="stop `meltledger run`"):
        repair(line.folder, HostDisk())
    db.close()


def test_a_repair_that_is_cut_short_can_be_done_again(tmp_path: Path) -> None:
    """A changed byte in a day whose hours are still there, a lost list of rollups, a leaving."""
    for calls in itertools.count(0, 2):
        line = Folder(tmp_path / str(calls))
        line.compact(hours_stay=True)
        line.roll_up()
        flip(line.path(0, "wide"))
        (line.folder / "rollups" / NAME).unlink()
        (line.folder / "archive" / "line=line-1" / "stray.parquet").write_bytes(b"half")
        disk = StoppingDisk(calls)
        with contextlib.suppress(StoreFull):
            repair(line.folder, disk)
        repair(line.folder, HostDisk())
        assert [f for f in found(line) if not f.trouble.is_note] == []
        assert line.samples() == expected(180)
        if disk.left >= 0:
            break
    assert calls > 20, "it was cut short at every other call before"


def test_a_look_beside_a_writer_that_seals_folds_and_tidies_finds_nothing_wrong(line: Folder) -> None:
    stop, minutes = threading.Event(), [180]

    def write() -> None:
        store = EmbeddedStore.open(line.folder)
        while not stop.is_set():
            store.append(*(scan(minutes[0] + k) for k in range(10)))
            minutes[0] += 10
            line.seal(minutes[0])
            line.forget()
            if minutes[0] % 60 == 0:
                line.compact()
        store.close()

    thread = threading.Thread(target=write)
    thread.start()
    try:
        wrong = [f for _ in range(15) for f in found(line) if not f.trouble.is_note]
    finally:
        stop.set()
        thread.join()
    assert minutes[0] > 180
    assert wrong == []
    assert line.samples() == expected(minutes[0])


def test_a_folder_without_a_store_is_refused(tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match="no store here"):
        look(tmp_path)


def test_a_database_that_is_none_is_told_and_the_segments_are_mended(line: Folder) -> None:
    (line.folder / "recent.db").write_bytes(b"x" * 9000)
    flip(line.path(0, "wide"))
    assert troubles(line) == [Trouble.LIST, Trouble.DAMAGED]
    deeds = mend(line)
    assert "written anew" in deeds and "recent.db: made anew" in deeds
    assert line.samples() == expected(120, start=60)
