"""What waits is delivered, in order, once; a real server behind a proxy that misbehaves."""

from __future__ import annotations

import json
import time
import urllib.request

import numpy as np
import pytest

from historian import NS, Frame, Tag
from historian.influx import ServerAway
from historian.influx.delivery import Deliverer, Pace
from historian.influx.questions import text
from historian.influx.server import Server
from historian.influx.waiting import Waiting
from tests.historian.conformance import BASE_NS, PATHS, TAGS, scan, seconds
from tests.historian.influx.line import QUICK, Line, kept, numbers
from tests.support.influx import Influxd

pytestmark = pytest.mark.influx


def test_frames_wait_while_the_server_is_away_and_come_in_order(influxd: Influxd, line: Line) -> None:
    store = line.writer()
    store.register(TAGS)
    store.append(scan(0))
    line.proxy.stop()
    store.append(scan(1))
    began = time.monotonic()
    for second in range(2, 40):
        store.append(scan(second, float(second)))
    assert time.monotonic() - began < 5.0  # the patience of one append is 10 s
    state = store.delivery()
    assert (state.frames, state.samples, state.oldest_ns) == (39, 78, seconds(1)[0])
    assert "does not answer" in state.reason
    assert kept(influxd, line) == 1
    with pytest.raises(ServerAway, match="is it running"):
        store.read(PATHS, *seconds(0, 9))
    assert store.latest()[PATHS[0]].value == 39.0  # a writer knows it from what it appended
    line.proxy.start()
    assert store.flush(20.0)
    assert store.delivery().reason == ""
    assert store.delivery().frames == 0
    assert kept(influxd, line) == 40
    assert numbers(line.reader()) == list(range(1, 41))
    points = [
        int(w.rsplit(" ", 1)[1]) for body in line.proxy.mood.writes for w in body.splitlines() if w[0] == "f"
    ]
    assert points == sorted(points)


def test_the_server_itself_can_go_and_come_back(influxd: Influxd, line: Line) -> None:
    store = line.writer()
    store.register(TAGS)
    store.append(scan(0))
    influxd.stop()
    try:
        store.append(scan(1), scan(2))
        assert "503" in store.delivery().reason
    finally:
        influxd.start()
    store.append(scan(3))
    assert store.flush(20.0)
    assert store.read(PATHS, *seconds(0, 9))[PATHS[0]].time_ns.tolist() == seconds(0, 1, 2, 3)


def test_many_waiting_frames_go_in_few_requests_packed(line: Line) -> None:
    store = line.writer()
    store.register(TAGS)
    line.proxy.stop()
    for second in range(100):
        store.append(scan(second))
    line.proxy.mood.writes.clear()
    line.proxy.start()
    assert store.flush(20.0)
    assert len(line.proxy.mood.writes) <= 8
    assert all(line.proxy.mood.packed)


@pytest.mark.parametrize("answers", [[503], [429, 503, 500, 401, 404]])
def test_a_refusal_that_is_not_for_good_is_tried_again(
    influxd: Influxd, line: Line, answers: list[int]
) -> None:
    store = line.writer()
    store.register(TAGS)
    line.proxy.mood.answers.extend(answers)
    store.append(scan(1))
    assert store.delivery().frames == 1 or not line.proxy.mood.answers
    store.append(scan(2))
    assert store.flush(20.0)
    assert line.proxy.mood.answers == []
    assert kept(influxd, line) == 2
    assert store.delivery().refused == 0


def test_the_server_is_left_alone_as_long_as_it_asks(line: Line) -> None:
    store = line.writer()
    store.register(TAGS)
    line.proxy.mood.answers, line.proxy.mood.retry_after = [429], "1"
    began = time.monotonic()
    store.append(scan(1))
    assert time.monotonic() - began < 0.9
    assert "429" in store.delivery().reason
    assert store.flush(20.0)
    assert time.monotonic() - began >= 1.0


def test_a_lost_answer_doubles_nothing(influxd: Influxd, line: Line) -> None:
    store = line.writer()
    store.register(TAGS)
    line.proxy.mood.lost = 3
    store.append(scan(1), scan(2))
    store.append(scan(3))
    assert store.flush(20.0)
    assert line.proxy.mood.lost == 0
    assert kept(influxd, line) == 3
    assert numbers(line.reader()) == [1, 2, 3]


def test_too_many_lines_are_sent_in_pieces(influxd: Influxd, line: Line) -> None:
    line.proxy.mood.largest = 2000
    store = line.writer()
    store.register(TAGS)
    n = 200
    store.append(Frame.of(np.ones(n), BASE_NS + np.arange(n), np.ones(n), np.zeros(n), arrival_ns=BASE_NS))
    assert store.flush(20.0)
    assert kept(influxd, line) == n
    assert numbers(line.reader()) == [1]


def test_what_the_server_never_takes_is_set_aside_and_the_rest_goes_on(influxd: Influxd, line: Line) -> None:
    old_ns = 946_684_800 * NS  # the week of the year 2000 in which `value` is a text already
    store = line.writer()
    store.register(TAGS)
    body = f'sample,line=other value="text" {old_ns}'.encode()
    status, _ = _write(influxd, body)
    assert status == 204
    line.proxy.stop()
    strange = Frame.of([1], [old_ns + 1], [1.0], [0], arrival_ns=BASE_NS + 2)
    store.append(scan(0), strange, scan(1), scan(2))
    line.proxy.start()
    assert store.flush(20.0)
    assert store.delivery().refused == 1
    assert kept(influxd, line) == 3
    assert numbers(line.reader()) == [1, 2, 3, 4]
    waiting = Waiting.open(line.folder / "waiting.db", line.place.line)
    ((number, reason),) = waiting.refused()
    waiting.close()
    assert number == 2
    assert "type" in reason


def test_a_frame_that_is_refused_as_a_whole_is_still_a_frame_for_replay(influxd: Influxd, line: Line) -> None:
    store = line.writer()
    store.register(TAGS)
    line.proxy.mood.answers = [400]
    store.append(scan(0))
    store.append(scan(1))
    assert store.flush(20.0)
    assert store.delivery().refused == 1
    assert kept(influxd, line) == 1
    assert numbers(line.reader()) == [1, 2]


def _write(influxd: Influxd, body: bytes) -> tuple[int, bytes]:
    with urllib.request.urlopen(
        f"http://127.0.0.1:{influxd.port}/write?db=lines", body, timeout=10
    ) as answer:
        return answer.status, answer.read()


def test_an_emptied_server_gets_the_tags_again(influxd: Influxd, line: Line) -> None:
    store = line.writer()
    store.register(TAGS)
    store.append(scan(1))
    line.proxy.stop()
    store.append(scan(2))
    influxd.ask(f'DELETE FROM "tag" WHERE "line"={text(line.place.line)}')
    assert json.loads(influxd.ask(f'SELECT "number" FROM "tag" WHERE "line"={text(line.place.line)}'))[
        "results"
    ] == [{"statement_id": 0}]
    line.proxy.start()
    assert store.flush(20.0)
    assert line.reader().tags() == store.tags()


def test_the_newest_words_of_a_tag_count_also_when_the_clock_goes_back(influxd: Influxd, line: Line) -> None:
    clock = iter([BASE_NS + n for n in range(100, 0, -1)])
    waiting = Waiting.open(line.folder / "waiting.db", line.place.line)
    deliverer = Deliverer(waiting, Server(line.place), {}, pace=QUICK, now_ns=lambda: next(clock))
    deliverer.start()
    for words in ("old", "new", "newest"):
        deliverer.wake({PATHS[0]: Tag(PATHS[0], "bar", text=words, id=1)})
        assert deliverer.wait(0, 10.0)
    assert line.reader().tags()[PATHS[0]].text == "newest"
    deliverer.stop(5.0)


def test_tags_registered_while_the_server_is_away_come_before_their_samples(line: Line) -> None:
    store = line.writer(patience_s=0.5)
    store.register(TAGS)
    line.proxy.stop()
    store.append(scan(1))
    tag = store.register([Tag("water.flow.pv", "m3/h")])["water.flow.pv"]
    store.append(Frame.of([tag.id], seconds(2), [5.0], [0], arrival_ns=seconds(2)[0]))
    line.proxy.start()
    assert store.flush(20.0)
    assert line.reader().latest(["water.flow.pv"])["water.flow.pv"].value == 5.0


def test_a_slow_server_slows_the_writer_down_but_not_for_ever(line: Line) -> None:
    store = line.writer(patience_s=10.0)
    store.register(TAGS)
    line.proxy.mood.delay_s = 0.3
    began = time.monotonic()
    store.append(scan(1))
    assert time.monotonic() - began >= 0.3
    store.close()
    store = line.writer(patience_s=0.05)
    line.proxy.mood.delay_s = 1.0
    began = time.monotonic()
    store.append(scan(2))
    assert time.monotonic() - began < 0.9
    assert store.flush(20.0)


def test_pauses_grow_to_the_longest() -> None:
    pace = Pace(first_wait_s=0.5, longest_wait_s=30.0)
    waits = [pace.wait_s(n, 0.0, 0.5) for n in range(1, 2000)]
    assert waits[:3] == [0.5, 1.0, 2.0]
    assert max(waits) == waits[-1] == 30.0
    assert pace.wait_s(2, 100.0, 0.0) == 100.0
    assert pace.wait_s(1, 0.0, 0.0) < pace.wait_s(1, 0.0, 1.0)
