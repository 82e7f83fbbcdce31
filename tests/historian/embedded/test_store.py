"""The embedded store: what was acknowledged is there, in order, for every reader, after every accident."""

from __future__ import annotations

import os
import resource
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian import (
    NS,
    EmbeddedStore,
    Frame,
    StoredDataDamaged,
    StoreReadOnly,
    Tag,
    UnitMismatch,
    UnknownTag,
    WrongInput,
)
from historian.quality import NO_DATA

PATHS = ("filter.inlet.pressure.pv", "filter.outlet.pressure.pv")
TAGS = [Tag(p, "bar") for p in PATHS]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "store"


def scan(second: int, value: float = 1.0, *, arrival_s: float | None = None, epoch: int = 0) -> Frame:
    arrival_ns = int((second if arrival_s is None else arrival_s) * NS)
    return Frame.of(
        [1, 2], [second * NS] * 2, [value, -value], [0, 0], arrival_ns=arrival_ns, clock_epoch=epoch
    )


def test_a_reader_sees_a_frame_as_soon_as_append_returns(folder: Path) -> None:
    writer = EmbeddedStore.open(folder)
    writer.register(TAGS)
    reader = EmbeddedStore.open(folder, mode="read")
    assert reader.latest() == {}
    assert writer.append(scan(1), scan(2)) == 2
    assert reader.latest()[PATHS[0]].time_ns == 2 * NS
    assert reader.read([PATHS[1]], 0, 10 * NS)[PATHS[1]].value.tolist() == [-1.0, -1.0]
    assert reader.span() == (1 * NS, 2 * NS)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 50), st.integers(0, 3)), max_size=40))
def test_frames_come_back_in_order_of_arrival_whatever_was_folded(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[int, int]]
) -> None:
    store = EmbeddedStore.open(tmp_path_factory.mktemp("store"))
    store.register(TAGS)
    frames = [scan(second, float(i), arrival_s=i * 20, epoch=epoch) for i, (second, epoch) in enumerate(rows)]
    for frame in frames:
        store.append(frame)
    back = list(store.frames())
    assert [n for n, _ in back] == list(range(1, len(frames) + 1))
    for (_, found), kept in zip(back, frames, strict=True):
        assert (found.arrival_ns, found.clock_epoch) == (kept.arrival_ns, kept.clock_epoch)
        for column in ("tag", "time_ns", "value", "quality"):
            np.testing.assert_array_equal(getattr(found, column), getattr(kept, column))
    assert [n for n, _ in store.frames(5)] == list(range(6, len(frames) + 1))
    store.close()


def test_folding_makes_few_rows_of_many(folder: Path) -> None:
    store = EmbeddedStore.open(folder)
    store.register(TAGS)
    for second in range(600):
        store.append(scan(second))
    rows = store._recent.rows_after(0, limit=10_000)
    assert len(rows) < 100
    assert len(store.read([PATHS[0]], 0, 600 * NS)[PATHS[0]]) == 600


def test_the_last_write_of_a_double_is_read(folder: Path) -> None:
    store = EmbeddedStore.open(folder)
    store.register(TAGS)
    store.append(scan(5, 1.0), scan(5, 2.0))
    assert store.read([PATHS[0]], 0, 10 * NS)[PATHS[0]].value.tolist() == [2.0]


def test_doubles_across_clock_epochs_are_both_kept(folder: Path) -> None:
    store = EmbeddedStore.open(folder)
    store.register(TAGS)
    store.append(scan(5, 1.0), scan(5, 2.0, epoch=1))
    assert store.read([PATHS[0]], 0, 10 * NS)[PATHS[0]].value.tolist() == [1.0, 2.0]


def test_late_samples_stand_at_their_source_time(folder: Path) -> None:
    store = EmbeddedStore.open(folder)
    store.register(TAGS)
    store.append(scan(9, 9.0), scan(3, 3.0, arrival_s=10))
    assert store.read([PATHS[0]], 0, 10 * NS)[PATHS[0]].value.tolist() == [3.0, 9.0]
    assert store.latest()[PATHS[0]].value == 9.0


def test_a_window_can_have_the_value_before_it(folder: Path) -> None:
    store = EmbeddedStore.open(folder)
    store.register(TAGS)
    store.append(scan(100, 4.0))
    found = store.read(PATHS, 200 * NS, 300 * NS, bound_before=True)
    assert found[PATHS[0]].time_ns.tolist() == [100 * NS]
    assert len(store.read(PATHS, 200 * NS, 300 * NS)[PATHS[0]]) == 0
    assert len(store.read(PATHS, 2000 * NS, 3000 * NS, bound_before=True)[PATHS[0]]) == 0


def test_a_gap_is_read_as_a_gap(folder: Path) -> None:
    store = EmbeddedStore.open(folder)
    store.register(TAGS)
    mark = Frame.of([1], [5 * NS + 1], [np.nan], [NO_DATA], arrival_ns=6 * NS)
    store.append(scan(5), mark, scan(60))
    outline = store.envelope(PATHS[0], 0, 100 * NS, 10)
    assert np.isnan(outline.value).tolist() == [False, True, False]


def test_numbers_of_tags_stay_and_units_cannot_change(folder: Path) -> None:
    store = EmbeddedStore.open(folder)
    first = store.register(TAGS)
    store.close()
    store = EmbeddedStore.open(folder)
    again = store.register([Tag("water.flow.pv", "m3/h"), *reversed(TAGS)])
    assert {p: again[p].id for p in PATHS} == {p: first[p].id for p in PATHS}
    with pytest.raises(UnitMismatch, match="kept in bar"):
        store.register([Tag(PATHS[0], "MPa")])


def test_an_unknown_tag_names_the_nearest(folder: Path) -> None:
    store = EmbeddedStore.open(folder)
    store.register(TAGS)
    with pytest.raises(UnknownTag, match=r"nearest known one is filter\.inlet\.pressure\.pv"):
        store.read(["filter.inlet.presure.pv"], 0, 1)


def test_a_reader_without_a_store_is_told_what_to_do(folder: Path) -> None:
    with pytest.raises(WrongInput, match="meltledger run"):
        EmbeddedStore.open(folder, mode="read")


def test_a_file_that_its_writer_has_only_just_made_is_no_store_yet(folder: Path) -> None:
    folder.mkdir()
    sqlite3.connect(folder / "recent.db").execute("PRAGMA journal_mode=WAL").connection.close()
    with pytest.raises(WrongInput, match="no store here yet"):
        EmbeddedStore.open(folder, mode="read")


def test_a_file_that_is_no_store_is_told_and_left_alone(folder: Path) -> None:
    folder.mkdir()
    (folder / "recent.db").write_bytes(b"not a database" * 100)
    with pytest.raises(StoredDataDamaged, match=r"recent\.db"):
        EmbeddedStore.open(folder)
    assert (folder / "recent.db").read_bytes().startswith(b"not a database")


def test_a_damaged_row_is_named_and_the_others_are_read(folder: Path) -> None:
    store = EmbeddedStore.open(folder)
    store.register(TAGS)
    store.append(scan(1), scan(2))
    body = bytearray(store._recent._db.execute("SELECT body FROM rows WHERE seq=2").fetchone()[0])
    body[40] ^= 0xFF
    store._recent._db.execute("UPDATE rows SET body=? WHERE seq=2", (bytes(body),))
    with pytest.raises(StoredDataDamaged, match="row 2"):
        store.read([PATHS[0]], 0, 10 * NS)
    assert len(store.read([PATHS[0]], 0, 2 * NS)[PATHS[0]]) == 1


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreReadOnly, match="check the path"):
        EmbeddedStore.open(tmp_path / "file" / "store")


_FILL = """
import resource, signal, sys
from pathlib import Path
from historian import EmbeddedStore, StoreFull, Tag
import numpy as np
from historian.frame import Frame
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
store = EmbeddedStore.open(Path(sys.argv[1]))
store.register([Tag("filter.inlet.pressure.pv", "bar")])

def lot(start_ns, arrival_ns):
    zeros = np.zeros(1000)
    return Frame.of(np.ones(1000), start_ns + np.arange(1000), zeros, zeros, arrival_ns=arrival_ns)

def kept_samples():
    return len(store.read(["filter.inlet.pressure.pv"], 0, 2 * 10**9)["filter.inlet.pressure.pv"])

kept = 0
resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, resource.RLIM_INFINITY))
try:
    for second in range(1000):
        store.append(lot(second * 1000, second))
        kept = second + 1
except StoreFull as error:
    print("full", kept, "Free space" in str(error) or "space" in str(error))
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
found = kept_samples()
print("read", found == kept * 1000)
store.append(lot(10**9, 10**6))
print("again", kept_samples() == found + 1000)
"""


def test_a_full_disk_is_loud_loses_nothing_and_recovers(folder: Path) -> None:
    """The file-size limit of a process stands for the full disk: the kernel refuses the write."""
    assert resource.RLIMIT_FSIZE is not None
    done = subprocess.run(
        [sys.executable, "-c", _FILL, str(folder)], capture_output=True, text=True, timeout=60, check=False
    )
    lines = done.stdout.split("\n")
    assert lines[0].startswith("full "), done.stdout + done.stderr
    assert lines[0].endswith("True")
    assert int(lines[0].split()[1]) > 0
    assert lines[1:3] == ["read True", "again True"]


_WRITE = """
import sys, time
from pathlib import Path
import numpy as np
from historian import EmbeddedStore, Tag
from historian.frame import NS, Frame
store = EmbeddedStore.open(Path(sys.argv[1]))
store.register([Tag(f"aux.channel.{i}.pv", "1") for i in range(1, 51)])
ids = np.arange(1, 51)
second = 0
while True:
    second += 1
    # Arrival runs fast, so that folding happens often and a kill can hit it.
    value, good = np.full(50, float(second)), np.zeros(50)
    store.append(Frame.of(ids, np.full(50, second * NS), value, good, arrival_ns=second * 7 * NS))
    print(second, flush=True)
"""


def _killed_at(folder: Path, seconds: float) -> int:
    """Write in a process of its own, kill it after a while; the last acknowledged second."""
    with subprocess.Popen(
        [sys.executable, "-c", _WRITE, str(folder)], stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(seconds)
        os.kill(process.pid, signal.SIGKILL)
        return max((int(line) for line in process.stdout.read().split()), default=1)


def _nothing_missing(folder: Path, acknowledged: int) -> None:
    store = EmbeddedStore.open(folder)
    found = store.read([f"aux.channel.{i}.pv" for i in (1, 25, 50)], 0, 10**18)
    for series in found.values():
        seconds = (series.time_ns // NS).tolist()
        assert seconds == list(range(1, len(seconds) + 1))
        assert len(seconds) >= acknowledged
    numbers = [n for n, _ in store.frames()]
    assert numbers == list(range(1, len(numbers) + 1))
    store.close()


def test_nothing_acknowledged_is_lost_or_doubled_by_a_kill(tmp_path: Path) -> None:
    chance = np.random.default_rng(20)
    for number in range(4):
        folder = tmp_path / str(number)
        _nothing_missing(folder, _killed_at(folder, float(chance.uniform(0.05, 0.5))))


@pytest.mark.long
@pytest.mark.timeout(600)
def test_nothing_acknowledged_is_lost_or_doubled_by_sixty_kills(tmp_path: Path) -> None:
    chance = np.random.default_rng(60)
    for number in range(60):
        folder = tmp_path / str(number)
        _nothing_missing(folder, _killed_at(folder, float(chance.uniform(0.02, 1.5))))
