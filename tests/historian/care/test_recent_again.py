"""A lost or damaged recent.db is made anew from what is there: what can be read stays, the rest is told."""

from __future__ import annotations

import contextlib
import itertools
import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from historian.archive.disk import HostDisk
from historian.care import Trouble, judge, look, repair
from historian.care.names import named
from historian.care.recent_again import PASSED_OVER
from historian.embedded.store import EmbeddedStore
from historian.embedded.tag_list import NAME as TAGS
from historian.embedded.tag_list import load_tags
from historian.errors import StoredDataDamaged, StoreFull
from historian.frame import Frame
from historian.store import Sample
from historian.tags import Tag, TagKind
from tests.historian.care.lines import HOUR_NS, PATHS, T0, Folder, expected, flip, scan
from tests.historian.stopping import StoppingDisk

KNOWN = {
    PATHS[1]: Tag(PATHS[1], "bar", TagKind.STEP, text="by the file", source="panel", simulated=True),
    PATHS[2]: Tag(PATHS[2], "mbar", source="panel", simulated=True),
}


@pytest.fixture
def line(tmp_path: Path) -> Folder:
    return Folder(tmp_path / "store")


def mend(line: Folder, **options: object) -> str:
    _, deeds = repair(line.folder, HostDisk(), **options)  # type: ignore[arg-type]
    assert [f for f in judge(look(line.folder)) if not f.trouble.is_note] == []
    return "\n".join(deeds)


def latest(line: Folder) -> dict[str, Sample]:
    with closing(EmbeddedStore.open(line.folder, mode="read")) as store:
        return store.latest()


def tags(line: Folder) -> dict[str, Tag]:
    with closing(EmbeddedStore.open(line.folder, mode="read")) as store:
        return store.tags()


def lose(line: Folder) -> None:
    for path in line.folder.glob("recent.db*"):
        path.unlink()


def test_a_store_says_what_to_do_when_its_newest_samples_are_lost(line: Folder) -> None:
    lose(line)
    for mode in ("read", "write"):
        with pytest.raises(StoredDataDamaged, match="meltledger doctor"):
            EmbeddedStore.open(line.folder, mode=mode)  # type: ignore[arg-type]
    (finding,) = judge(look(line.folder))
    assert finding.trouble is Trouble.LIST and "is not there" in finding.text


def test_what_was_sealed_is_read_again_with_its_tags_and_newest_samples(line: Folder) -> None:
    line.step(T0 + 3 * HOUR_NS + 120_000_000_000)
    before, known = latest(line), tags(line)
    assert line.samples() == expected(180)
    lose(line)
    said = mend(line)
    assert f"arrival numbers go on after {180 + PASSED_OVER}" in said and "not known" not in said
    assert line.samples() == expected(180)
    assert latest(line) == before
    assert tags(line) == known


def test_numbers_are_never_given_twice_and_new_frames_are_kept_and_sealed(line: Folder) -> None:
    """The journal remembers the last number that was judged: a frame with a lower one would not be."""
    lose(line)
    mend(line)
    store = EmbeddedStore.open(line.folder)
    assert store.append(scan(180)) == 120 + PASSED_OVER + 1
    store.append(*(scan(minute) for minute in range(181, 260)))
    store.close()
    assert [f.trouble for f in judge(look(line.folder))] == [Trouble.HOLE], "the lost hour"
    blind(line.folder / "recent.db")
    mend(line)
    line.step(T0 + 5 * HOUR_NS)
    store = EmbeddedStore.open(line.folder)
    assert line.samples() == expected(120) | expected(260, start=180)
    assert [n for n, f in store.frames(120) if len(f)] == list(range(1_000_121, 1_000_201))
    store.close()
    assert [f.trouble for f in judge(look(line.folder))] == [Trouble.HOLE]


def test_rows_that_can_still_be_read_are_kept(line: Folder) -> None:
    path = line.folder / "recent.db"
    blind(path)
    assert [f.trouble for f in judge(look(line.folder))] == [Trouble.LIST]
    said = mend(line)
    assert "with 2 tags and 720 samples" in said
    assert line.samples() == expected(180)
    assert (line.folder / "damaged" / "recent.db").exists()


def blind(path: Path) -> None:
    """Spoil the index of times: whole rows, but no sound database."""
    db = sqlite3.connect(path)
    db.execute("PRAGMA journal_mode=DELETE")
    (page,) = db.execute("SELECT rootpage FROM sqlite_master WHERE name='rows_by_time'").fetchone()
    (size,) = db.execute("PRAGMA page_size").fetchone()
    db.close()
    with path.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\xff" * size)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 2**32 - 1))
def test_wherever_bytes_are_spoilt_nothing_sealed_is_lost_and_the_store_opens(
    whole: Folder, seed: int
) -> None:
    chance = np.random.default_rng(seed)
    folder = whole.folder.with_name("try")
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(whole.folder, folder)
    path = folder / "recent.db"
    data = bytearray(path.read_bytes())
    for _ in range(int(chance.integers(1, 4))):
        at = int(chance.integers(0, len(data) - 600))
        data[at : at + 600] = chance.bytes(600)
    path.write_bytes(data)
    line = Folder.__new__(Folder)
    line.folder = folder
    repair(folder, HostDisk())
    left = [f for f in judge(look(folder)) if not f.trouble.is_note]
    assert {f.trouble for f in left} <= {Trouble.NUMBERS}
    kept = line.samples()
    assert expected(120) <= kept <= expected(180)
    store = EmbeddedStore.open(folder)
    assert store.append(scan(200)) > 180 or kept == expected(180)
    assert store.latest()[PATHS[1]].time_ns == T0 + (200 * 60 + 50) * 10**9
    assert set(store.tags()) == set(PATHS.values())
    store.close()


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Folder:
    return Folder(tmp_path_factory.mktemp("spoilt") / "store")


def test_the_log_of_the_old_file_is_not_read_into_the_new_one(line: Folder) -> None:
    """A write-ahead log does not say to which file it belongs."""
    store = EmbeddedStore.open(line.folder)
    store.append(scan(180))
    wal = (line.folder / "recent.db-wal").read_bytes()
    assert len(wal) > 0
    store.close()
    (line.folder / "recent.db").write_bytes(b"x" * 9000)
    (line.folder / "recent.db-wal").write_bytes(wal)
    mend(line)
    assert (line.folder / "damaged" / "recent.db-wal").read_bytes() == wal
    assert line.samples() == expected(120)
    with closing(sqlite3.connect(line.folder / "recent.db")) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_committed_frames_that_stand_in_the_log_only_are_kept(line: Folder) -> None:
    """The store was killed: its last commits are in the write-ahead log."""
    store = EmbeddedStore.open(line.folder)
    store.append(scan(180))
    killed = line.folder.with_name("killed")
    shutil.copytree(line.folder, killed)
    store.close()
    line.folder = killed
    assert judge(look(killed)) == []
    assert repair(killed, HostDisk()) == ([], [])
    assert line.samples() == expected(181)


def test_a_damaged_file_is_not_put_aside_over_an_earlier_one(line: Folder) -> None:
    for number in range(2):
        (line.folder / "recent.db").write_bytes(b"x%d" % number * 4000)
        mend(line)
    aside = line.folder / "damaged"
    assert (aside / "recent.db").read_bytes()[:2] == b"x0"
    assert (aside / "recent.db.1").read_bytes()[:2] == b"x1"


def test_a_stop_anywhere_leaves_what_the_next_repair_needs(tmp_path: Path) -> None:
    for calls in itertools.count():
        line = Folder(tmp_path / str(calls))
        blind(line.folder / "recent.db")
        disk = StoppingDisk(calls)
        with contextlib.suppress(StoreFull):
            repair(line.folder, disk)
        repair(line.folder, HostDisk())
        assert [f for f in judge(look(line.folder)) if not f.trouble.is_note] == []
        assert line.samples() == expected(180)
        assert not (line.folder / "recent.db.new").exists()
        if disk.left >= 0:
            break
    assert calls > 20, "it was cut short at every call before"


def test_without_the_list_of_tags_the_segments_tell_and_what_is_not_known_is_said(line: Folder) -> None:
    lose(line)
    (line.folder / TAGS).unlink()
    said = mend(line)
    assert "of 2 tags, such as filter.inlet.pressure.pv" in said and "--line" in said
    found = tags(line)
    assert {p: (t.id, t.unit, t.reference) for p, t in found.items()} == {
        PATHS[1]: (1, "bar", "gauge"),
        PATHS[2]: (2, "bar", "gauge"),
    }
    assert line.samples() == expected(120)
    listed = load_tags(line.folder)
    assert listed is not None and {t.path: t for t in listed.tags.values()} == found, "written down again"


@pytest.mark.parametrize("at_once", [True, False])
def test_the_lines_file_says_the_rest_at_once_or_later(line: Folder, at_once: bool) -> None:
    lose(line)
    (line.folder / TAGS).unlink()
    if not at_once:
        mend(line)
    mend(line, known=KNOWN)
    found = tags(line)[PATHS[1]]
    assert (found.id, found.kind, found.source, found.simulated) == (1, TagKind.STEP, "panel", True)
    assert tags(line)[PATHS[2]].unit == "bar", "a unit is what the samples have, not what a file says"


def test_samples_of_a_tag_whose_name_is_lost_stay_under_its_number(line: Folder) -> None:
    store = EmbeddedStore.open(line.folder)
    number = store.register([Tag("water.flow.pv", "m3/h")])["water.flow.pv"].id
    at_ns = T0 + 4 * HOUR_NS
    store.append(Frame.of([number], [at_ns], [7.0], [0], arrival_ns=at_ns))
    store.close()
    (line.folder / TAGS).unlink()
    with closing(sqlite3.connect(line.folder / "recent.db")) as db, db:
        db.execute("DELETE FROM tags")
    blind(line.folder / "recent.db")
    said = mend(line)
    assert "its samples stand under lost.tag.3" in said
    with closing(EmbeddedStore.open(line.folder)) as store:
        assert store.read(["lost.tag.3"], 0, 2**62)["lost.tag.3"].value.tolist() == [7.0]
        assert store.register([Tag("water.flow.pv", "m3/h")])["water.flow.pv"].id == 4


def test_the_segments_word_counts_where_two_sources_differ() -> None:
    seen = {1: ("water.flow.pv", "m3/h"), 2: ("own.thing.pv", None)}
    wrong, right = Tag("room.temp.pv", "Cel", id=1), Tag("water.flow.pv", "m3/h", source="panel", id=1)
    found = named(seen, [{1: wrong}, {1: right}], [1, 2, 3])
    assert found.tags[1] == right and found.guessed == ("own.thing.pv",) and found.nameless == (3,)
    assert named({}, [{1: right, 5: right}], []).tags == {1: right}, "a path has one number"
    assert named({1: ("room.temp.pv", "[degF]")}, [], []).tags[1].unit == "[degF]"


def test_a_list_of_tags_that_was_changed_is_told_and_written_again(line: Folder) -> None:
    flip(line.folder / TAGS)
    (finding,) = judge(look(line.folder))
    assert (finding.trouble, finding.where) == (Trouble.LIST, TAGS)
    mend(line)
    listed = load_tags(line.folder)
    assert listed is not None and listed.tags == line.numbered
    body = json.loads((line.folder / TAGS).read_text(encoding="utf-8"))
    assert body["tags"]["1"]["unit"] == "bar"
