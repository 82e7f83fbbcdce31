"""A backup comes back byte for byte, is made while a writer writes, and is refused when it is not whole."""

from __future__ import annotations

import shutil
import sqlite3
import tarfile
import threading
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from historian.archive.writer import ArchiveWriter
from historian.care import back_up, judge, look, restore
from historian.care import backup as backup_module
from historian.embedded.store import EmbeddedStore
from historian.errors import MeltledgerError, OutsideWorldAway, StoredDataDamaged, WrongInput
from tests.historian.care.lines import Folder, expected, flip, scan


@pytest.fixture
def line(tmp_path: Path) -> Folder:
    return Folder(tmp_path / "store")


def restored(file: Path, folder: Path) -> Folder:
    restore(file, folder)
    again = Folder.__new__(Folder)
    again.folder = folder
    return again


def test_what_went_out_comes_back(line: Folder, tmp_path: Path) -> None:
    (line.folder / "notes").mkdir()
    (line.folder / "notes" / "read me.txt").write_text("lot 3", encoding="utf-8")
    journal = sqlite3.connect(line.folder / "journal.db")
    journal.executescript(
        "PRAGMA journal_mode=WAL; CREATE TABLE entry (text); INSERT INTO entry VALUES ('seen');"
    )
    told: list[tuple[int, int]] = []
    contents = back_up(line.folder, tmp_path / "copy.tar", lambda done, whole: told.append((done, whole)))
    journal.close()
    again = restored(tmp_path / "copy.tar", tmp_path / "again")
    assert again.samples() == line.samples() == expected(180)
    assert again.manifest == line.manifest
    assert judge(look(again.folder)) == []
    assert (again.folder / "notes" / "read me.txt").read_text(encoding="utf-8") == "lot 3"
    copied = sqlite3.connect(again.folder / "journal.db")
    assert copied.execute("SELECT text FROM entry").fetchall() == [("seen",)]
    copied.close()
    assert told and told[-1][0] == told[-1][1]
    assert {"recent.db", "archive/manifest.json", "rollups/manifest.json"} <= set(contents)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["again", "copy.tar", "store"], (
        "no half file is left"
    )


def test_any_tar_reads_it_and_leavings_stay_out(line: Folder, tmp_path: Path) -> None:
    line.path(0, "wide").with_name("stray.parquet").write_bytes(b"half")
    (line.folder / "journal.db").write_bytes(b"what was judged")
    back_up(line.folder, tmp_path / "copy.tar")
    with tarfile.open(tmp_path / "copy.tar") as tar:
        names = tar.getnames()
    order = [names.index(n) for n in ("journal.db", "recent.db", "archive/manifest.json", "contents.json")]
    assert order == sorted(order) and names[-1] == "contents.json"
    assert not [n for n in names if "stray" in n or n.endswith(("-wal", "-shm"))]


def test_a_backup_holds_all_that_was_kept_before_it_began_while_a_writer_goes_on(
    line: Folder, tmp_path: Path
) -> None:
    stop, written = threading.Event(), [180]

    def write() -> None:
        store = EmbeddedStore.open(line.folder)
        while not stop.is_set():
            store.append(scan(written[0]))
            written[0] += 1
            if written[0] % 20 == 0:
                line.seal(written[0])
                if written[0] % 60 == 0:
                    line.compact()
        store.close()

    thread = threading.Thread(target=write)
    thread.start()
    try:
        for n in range(4):
            before = written[0]
            back_up(line.folder, tmp_path / f"copy-{n}.tar")
            after = written[0]
            again = restored(tmp_path / f"copy-{n}.tar", tmp_path / f"again-{n}")
            assert expected(before) <= again.samples() <= expected(after + 1)
    finally:
        stop.set()
        thread.join()


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_backup_that_is_not_whole_is_refused_and_leaves_no_folder(
    whole: tuple[bytes, Path], data: st.DataObject
) -> None:
    body, tmp_path = whole
    if data.draw(st.booleans()):
        # The tail of a tar is filler; what comes before contents.json must be there.
        broken = body[: data.draw(st.integers(0, body.rindex(b"contents.json")))]
    else:
        at = data.draw(st.integers(0, len(body) - 1))
        broken = body[:at] + bytes([body[at] ^ 0xFF]) + body[at + 1 :]
    (tmp_path / "broken.tar").write_bytes(broken)
    target = tmp_path / "target"
    try:
        restore(tmp_path / "broken.tar", target)
    except MeltledgerError as error:
        assert "broken.tar" in str(error)
        assert not target.exists() and not target.with_name("target.part").exists()
    else:
        # A byte of filler, or of a head that nobody reads: all that was kept is there.
        assert judge(look(target)) == []
        shutil.rmtree(target)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, Path]:
    folder = tmp_path_factory.mktemp("whole")
    line = Folder(folder / "store", hours=1, sealed=1)
    back_up(line.folder, folder / "copy.tar")
    return (folder / "copy.tar").read_bytes(), folder


def test_damaged_segments_are_not_copied_as_if_they_were_sound(line: Folder, tmp_path: Path) -> None:
    flip(line.path(0, "wide"))
    with pytest.raises(StoredDataDamaged, match="meltledger doctor"):
        back_up(line.folder, tmp_path / "copy.tar")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["store"]


def test_a_damaged_database_is_not_copied_as_if_it_were_sound(line: Folder, tmp_path: Path) -> None:
    path = line.folder / "recent.db"
    sound = path.read_bytes()
    for damaged in (b"x" * 9000, sound[:4096] + b"\xff" * 4096 + sound[8192:]):
        path.write_bytes(damaged)
        with pytest.raises(StoredDataDamaged, match=r"recent\.db: .*meltledger doctor"):
            back_up(line.folder, tmp_path / "copy.tar")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["store"]


def test_wrong_places_are_refused_before_anything_is_written(line: Folder, tmp_path: Path) -> None:
    back_up(line.folder, tmp_path / "copy.tar")
    for folder, file, words in (
        (line.folder, tmp_path / "copy.tar", "is there already"),
        (line.folder, line.folder / "copy.tar", "lies in the store"),
        (tmp_path / "none", tmp_path / "other.tar", "no store here"),
    ):
        with pytest.raises(WrongInput, match=words):
            back_up(folder, file)
    with pytest.raises(WrongInput, match="holds something already"):
        restore(tmp_path / "copy.tar", line.folder)
    with pytest.raises(WrongInput, match="no such file"):
        restore(tmp_path / "none.tar", tmp_path / "new")
    assert line.samples() == expected(180)


def test_a_file_that_would_land_outside_is_refused(tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes(b"x")
    with tarfile.open(tmp_path / "evil.tar", "w") as tar:
        tar.add(tmp_path / "x", arcname="../outside")
    with pytest.raises(StoredDataDamaged, match=r"\.\./outside"):
        restore(tmp_path / "evil.tar", tmp_path / "new")
    assert not (tmp_path / "outside").exists() and not (tmp_path / "new").exists()


def test_a_store_that_never_holds_still_is_given_up_with_words(
    line: Folder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(backup_module, "_add_listed", _gone)
    with pytest.raises(OutsideWorldAway, match="try again"):
        back_up(line.folder, tmp_path / "copy.tar")
    assert not list(tmp_path.glob("copy.tar*"))


def _gone(*_: object) -> None:
    raise backup_module._Moved


def test_a_store_after_a_restore_takes_new_frames_and_seals_them(line: Folder, tmp_path: Path) -> None:
    back_up(line.folder, tmp_path / "copy.tar")
    again = restored(tmp_path / "copy.tar", tmp_path / "again")
    store = EmbeddedStore.open(again.folder)
    assert store.append(scan(180)) == 181
    store.close()
    tags = {t.id: t for t in line.tags.values()}
    writer = ArchiveWriter.open(again.folder / "archive", "line-1")
    writer.seal([(n + 1, scan(n)) for n in range(120, 181)], tags)
    assert again.samples() == expected(181)
