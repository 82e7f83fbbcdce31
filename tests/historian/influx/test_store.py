"""The store where a server makes it different from others; a real server behind a proxy."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import numpy as np
import pytest

from historian import Frame, StoreFull, StoreReadOnly, Tag, WrongInput
from historian.influx import InfluxStore, Place, ServerAway
from historian.influx.answers import Table
from historian.influx.questions import last_samples, text
from historian.influx.server import Server
from historian.influx.waiting import Waiting
from tests.historian.conformance import BASE_NS, PATHS, TAGS, scan, seconds
from tests.historian.influx.line import Line, numbers
from tests.support.influx import Influxd

pytestmark = pytest.mark.influx


def test_frames_that_wait_and_are_on_the_server_too_are_given_once(line: Line) -> None:
    store = line.writer(patience_s=1.0)
    store.register(TAGS)
    store.append(scan(1))
    line.proxy.mood.lost = 10**6
    store.append(scan(2), scan(3))
    assert numbers(line.reader()) == [1, 2, 3]
    assert store.delivery().frames == 2
    assert numbers(store) == [1, 2, 3]
    line.proxy.mood.lost = 0


def test_frames_of_more_parts_than_are_asked_for_come_back(
    line: Line, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("historian.influx.reader._FRAMES_A_TIME", 2)
    store = line.writer()
    store.register(TAGS)
    n = 20_000
    noise = np.random.default_rng(5).normal(size=n)
    frame = Frame.of(np.ones(n), BASE_NS + np.arange(n), noise, np.zeros(n), arrival_ns=BASE_NS + n)
    store.append(scan(0), frame, scan(1), scan(2), frame, scan(3))
    assert store.flush(20.0)
    assert [(k, len(f)) for k, f in line.reader().frames()] == [
        (1, 2),
        (2, n),
        (3, 2),
        (4, 2),
        (5, n),
        (6, 2),
    ]


def test_a_writer_starts_without_the_server_once_it_knew_it(line: Line) -> None:
    line.proxy.stop()
    with pytest.raises(ServerAway):
        line.writer()
    line.proxy.start()
    store = line.writer()
    first = store.register(TAGS)
    store.append(scan(1))
    store.close()
    line.proxy.stop()
    store = line.writer(patience_s=0.5)
    assert store.tags() == first
    assert store.latest()[PATHS[0]].time_ns == seconds(1)[0]
    assert [n for n, _ in store.frames()] == [1]
    assert store.append(scan(2)) == 2
    assert store.append(scan(3)) == 3
    assert [n for n, _ in store.frames(1)] == [2, 3]  # from the own disk
    store.close()
    store = line.writer(patience_s=0.5)
    assert store.latest()[PATHS[0]].time_ns == seconds(3)[0]
    store.close()
    line.proxy.start()
    store = line.writer()
    assert store.flush(20.0)
    assert numbers(store) == [1, 2, 3]
    assert store.latest() == line.reader().latest()


def test_a_writer_that_knew_the_server_keeps_samples_when_it_is_refused(line: Line) -> None:
    store = line.writer()
    store.register(TAGS)
    store.append(scan(1))
    store.close()
    right = line.place
    line.place = replace(right, database="nowhere")
    store = line.writer(patience_s=2.0)
    assert store.append(scan(2)) == 2
    assert "database not found" in store.delivery().reason
    store.close()
    line.place = right
    store = line.writer()
    assert store.flush(20.0)
    assert numbers(line.reader()) == [1, 2]


def test_a_new_disk_goes_on_from_what_the_server_holds(line: Line, tmp_path: Path) -> None:
    store = line.writer()
    first = store.register(TAGS)
    store.append(scan(1), scan(2))
    store.close()
    line.folder = tmp_path / "new disk"
    store = line.writer()
    assert store.register(reversed(TAGS)) == first
    assert store.latest() == line.reader().latest() != {}
    assert store.append(scan(3, arrival_s=0)) == 3
    assert numbers(line.reader()) == [1, 2, 3]


def test_an_old_copy_of_the_waiting_room_is_told(line: Line, tmp_path: Path) -> None:
    store = line.writer()
    store.register(TAGS)
    store.close()
    line.folder = tmp_path / "old copy"
    old = Waiting.open(line.folder / "waiting.db", line.place.line)
    old.put_tags([(1, TAGS[1].path, json.dumps(TAGS[1].to_json()))])
    old.close()
    with pytest.raises(WrongInput, match="an old copy"):
        line.writer()


def test_many_tags_are_asked_for_in_lots(line: Line) -> None:
    store = line.writer()
    tags = store.register(Tag(f"aux.channel.{i}.pv", "1") for i in range(1, 121))
    ids = np.array(sorted(t.id for t in tags.values()))
    store.append(Frame.of(ids, np.full(120, BASE_NS), ids.astype(float), np.zeros(120), arrival_ns=BASE_NS))
    wanted = [*tags, *tags]
    found = store.read(wanted, BASE_NS + 1, BASE_NS + 2, bound_before=True)
    assert {p: s.value.tolist() for p, s in found.items()} == {p: [float(t.id)] for p, t in tags.items()}
    assert {p: s.value for p, s in store.latest(wanted).items()} == {p: float(t.id) for p, t in tags.items()}


def test_a_reader_follows_the_newest_samples_without_asking_for_all_again(
    influxd: Influxd, line: Line, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("historian.influx.reader._FOLLOWED_FRAMES", 3)
    store, reader = line.writer(), line.reader()
    store.register(TAGS)
    store.append(scan(1))
    asked: list[str] = []
    ask = Server.ask

    def counted(server: Server, question: str) -> Iterator[Table]:
        asked.append(question)
        return ask(server, question)

    monkeypatch.setattr(Server, "ask", counted)
    for second in range(2, 6):
        assert reader.latest()[PATHS[0]].time_ns == seconds(second - 1)[0]
        store.append(scan(second), scan(0.5, 9.0))
    whole = last_samples(line.place.line)
    assert asked.count(whole) == 1
    store.append(*(scan(second) for second in range(6, 10)))
    assert reader.latest()[PATHS[0]].time_ns == seconds(9)[0]
    assert asked.count(whole) == 2
    assert store.latest() == reader.latest()


def test_a_full_disk_is_loud_loses_nothing_and_recovers(line: Line) -> None:
    store = line.writer(patience_s=0.1)
    store.register(TAGS)
    line.proxy.stop()
    store.append(scan(0))
    assert store._waiting is not None
    database = store._waiting._db
    pages = int(database.execute("PRAGMA page_count").fetchone()[0])
    database.execute(f"PRAGMA max_page_count={pages + 10}")
    taken = 1
    with pytest.raises(StoreFull, match="disk is full"):
        for second in range(1, 1000):
            store.append(scan(second), scan(second + 0.5))
            taken += 2
    assert store.last_number() == taken > 1
    database.execute("PRAGMA max_page_count=1000000")
    assert store.append(scan(2000)) == taken + 1
    line.proxy.start()
    assert store.flush(20.0)
    assert numbers(store) == list(range(1, taken + 2))


def test_bad_samples_are_not_in_the_servers_own_averages(influxd: Influxd, line: Line) -> None:
    store = line.writer()
    store.register(TAGS)
    bad = Frame.of(
        [1, 1], seconds(2, 3), [1000.0, np.nan], [0x808C0000, 0x809B0000], arrival_ns=seconds(3)[0]
    )
    store.append(scan(1, 4.0), bad)
    question = (
        f'SELECT mean("value") FROM "sample" WHERE "line"={text(line.place.line)} AND "path"={text(PATHS[0])}'
    )
    assert json.loads(influxd.ask(question))["results"][0]["series"][0]["values"][0][1] == 4.0
    found = store.read([PATHS[0]], *seconds(0, 9))[PATHS[0]]
    assert found.quality.tolist() == [0, 0x808C0000, 0x809B0000]
    assert found.value[:2].tolist() == [4.0, 1000.0]


def test_a_missing_database_is_told_with_the_remedy(line: Line) -> None:
    wrong = Place(line.proxy.url, "nowhere", "pilot")
    with pytest.raises(WrongInput, match="Make the database nowhere"):
        InfluxStore.open(wrong, mode="read")


def test_an_answer_that_is_broken_off_is_not_taken_for_whole(line: Line) -> None:
    store = line.writer()
    store.register(TAGS)
    store.append(scan(1))
    line.proxy.mood.broken_off = 1
    with pytest.raises(ServerAway):
        store.read(PATHS, *seconds(0, 9))
    assert len(store.read(PATHS, *seconds(0, 9))[PATHS[0]]) == 1


def test_what_is_no_influxdb_is_told(line: Line) -> None:
    class Page(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.end_headers()
            self.wfile.write(b"<html>it works</html>")

        def log_message(self, format: str, *args: object) -> None: ...

    with HTTPServer(("127.0.0.1", 0), Page) as server:
        threading.Thread(target=server.handle_request, daemon=True).start()
        place = Place(f"http://127.0.0.1:{server.server_port}", "lines", "pilot")
        with pytest.raises(WrongInput, match="does not answer like an InfluxDB"):
            InfluxStore.open(place, mode="read")


def test_a_reader_does_not_write_and_a_writer_needs_a_folder(line: Line) -> None:
    with pytest.raises(StoreReadOnly, match="opened for reading"):
        line.reader().append(scan(1))
    with pytest.raises(WrongInput, match="needs a folder"):
        InfluxStore.open(line.place)


def test_a_tag_number_that_nobody_registered_is_not_taken(line: Line) -> None:
    store = line.writer()
    store.register(TAGS)
    strange = Frame.of([9], [BASE_NS], [1.0], [0], arrival_ns=BASE_NS)
    with pytest.raises(WrongInput, match="number 9"):
        store.append(scan(1), strange)
    assert store.last_number() == 0


def test_the_waiting_room_of_another_line_is_not_taken(line: Line) -> None:
    line.writer().close()
    line.place = Place(line.place.url, line.place.database, "another")
    with pytest.raises(WrongInput, match="waiting room of line"):
        line.writer()
