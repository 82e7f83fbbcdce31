"""From a real broker to a real store: once, in order, acknowledged only when it is on disk."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from paho.mqtt import publish

from collector import (
    Inbox,
    Roster,
    SourceMapping,
    TagMapping,
    WallClock,
    Writer,
    collect,
    newest_samples,
    tags_of,
)
from collector.backoff import Backoff
from collector.json.shape import JsonShape
from collector.mqtt.broker import Broker
from collector.mqtt.json_source import MqttJsonSource
from historian import EmbeddedStore, Event, Series, StoreFull
from historian.quality import HELD, NO_DATA, is_good
from tests.collector.conftest import Judged
from tests.support.mosquitto import Mosquitto

pytestmark = pytest.mark.broker

T = time.time_ns() // 1_000_000 - 3_000
MAPPING = SourceMapping(
    "dryer",
    "mqtt://x",
    False,
    (TagMapping("own.a.pv", "A", "1"), TagMapping("own.b.pv", "B", "1")),
)
ONE = JsonShape("m/+", name="{1}", value="/v", time="/t", time_format="ms")
MANY = JsonShape("batch", name="{key}", each="/v", message_time="/t", time_format="ms")


@pytest.fixture(scope="module")
def mosquitto(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path_factory.mktemp("broker"), "max_inflight_messages 20") as broker:
        yield broker


@dataclass
class Collecting:
    """A running collector of one JSON source."""

    store: EmbeddedStore
    source: MqttJsonSource
    broker: Broker
    events: list[Event] = field(default_factory=list)
    task: asyncio.Task[None] | None = None

    def series(self, path: str = "own.a.pv") -> Series:
        return self.store.read([path], 0, 2**62)[path]

    def good(self, path: str = "own.a.pv") -> list[float]:
        series = self.series(path)
        raw = is_good(series.quality) & (series.quality != HELD)
        return series.value[raw].tolist()

    async def send(self, *bodies: object, topic: str = "m/A", qos: int = 1, retain: bool = False) -> None:
        messages = [
            {
                "topic": topic,
                "payload": b if isinstance(b, bytes) else json.dumps(b),
                "qos": qos,
                "retain": retain,
            }
            for b in bodies
        ]
        await asyncio.to_thread(publish.multiple, messages, hostname=self.broker.host, port=self.broker.port)  # type: ignore[arg-type]

    async def count(self, start: int, stop: int) -> None:
        await self.send(*({"v": n, "t": T + 10 * n} for n in range(start, stop)))

    async def until(self, true: Callable[[], bool]) -> None:
        async with asyncio.timeout(20.0):
            while not true():  # noqa: ASYNC110  (a store cannot wake a test)
                await asyncio.sleep(0.02)

    def told(self, kind: str) -> list[Event]:
        return [e for e in self.events if e.kind == kind]


@asynccontextmanager
async def collecting(
    folder: Path, broker: Broker, *shapes: JsonShape, codes: Mapping[str, Mapping[str, float]] | None = None
) -> AsyncIterator[Collecting]:
    store = EmbeddedStore.open(folder)
    tags = store.register(tags_of([MAPPING]))
    inbox = Inbox([MAPPING], tags, newest_samples(store, [MAPPING]))
    source = MqttJsonSource(MAPPING, tags, broker, shapes or (ONE,), codes=codes, backoff=Backoff(0.1, 0.3))
    c = Collecting(store, source, broker)
    writer = Writer(store, inbox, Judged(), WallClock(), c.events.append, flush_s=0.05)
    roster = Roster(inbox, WallClock())
    roster.start(source)
    c.task = asyncio.create_task(collect(roster, writer))
    try:
        await c.until(lambda: bool(c.told("source-connected")))
        yield c
    finally:
        c.task.cancel()
        await asyncio.gather(c.task, return_exceptions=True)
        store.close()


@pytest.fixture(params=["5", "3.1.1"])
def broker(request: pytest.FixtureRequest, mosquitto: Mosquitto) -> Broker:
    name = f"we-{request.node.name}"[:60].replace("[", "-").replace("]", "")
    return Broker("127.0.0.1", mosquitto.port, name, version=request.param, window=20)


async def test_every_message_is_stored_once_however_small_the_window(broker: Broker, tmp_path: Path) -> None:
    async with collecting(tmp_path, broker) as c:
        await c.count(0, 300)
        await c.until(lambda: len(c.good()) == 300)
        await c.until(lambda: c.source.counts.waiting == 0)
    assert c.source.counts.received == 300


async def test_what_came_while_we_were_away_is_there_once_and_no_gap_is_left(
    broker: Broker, tmp_path: Path
) -> None:
    async with collecting(tmp_path, broker) as c:
        await c.count(0, 50)
        await c.until(lambda: len(c.good()) == 50)
    await c.count(50, 120)
    async with collecting(tmp_path, broker) as c:
        await c.count(120, 130)
        await c.until(lambda: len(c.good()) == 130)
        series = c.series()
        assert c.good() == [float(n) for n in range(130)]
        assert not (series.quality == NO_DATA).any()
        assert (series.quality == HELD).sum() == 1


async def test_what_the_store_did_not_take_is_not_acknowledged_and_comes_again(
    broker: Broker, tmp_path: Path
) -> None:
    async with collecting(tmp_path, broker) as c:
        await c.count(0, 5)
        await c.until(lambda: len(c.good()) == 5)
        append = c.store.append

        def full(*frames: object) -> int:
            raise StoreFull("the disk is full")

        c.store.append = full  # type: ignore[method-assign]
        await c.count(5, 10)
        await c.until(lambda: c.source.counts.waiting == 5)
        await asyncio.sleep(0.3)
        assert c.source.counts.waiting == 5
        assert c.task is not None
        # As if killed: nothing more is stored, nothing acknowledged.
        c.store.append = full  # type: ignore[method-assign]
    c.store.append = append  # type: ignore[method-assign]
    async with collecting(tmp_path, broker) as c:
        await c.until(lambda: len(c.good()) == 10)
        assert c.good() == [float(n) for n in range(10)]
        assert not c.told("clock-stepped")


async def test_batches_and_bad_samples(broker: Broker, tmp_path: Path) -> None:
    async with collecting(tmp_path, broker, MANY, codes={"own.b.pv": {"RUN": 1.0}}) as c:
        await c.send(
            {"t": T, "v": {"A": 1.5, "B": "RUN"}}, {"t": T + 1, "v": {"A": None, "B": True}}, topic="batch"
        )
        await c.until(lambda: len(c.series("own.b.pv")) == 2 and len(c.series()) == 2)
        assert c.good("own.b.pv") == [1.0, 1.0] and c.good() == [1.5]
        assert not is_good(c.series().quality)[1]


async def test_bad_input_is_acknowledged_told_once_and_disturbs_nothing(
    broker: Broker, tmp_path: Path
) -> None:
    async with collecting(tmp_path, broker) as c:
        await c.send(b"{", b"\xff", {"v": {}, "t": 1}, {"t": 4}, b"x" * 40_000)
        await c.count(0, 30)
        await c.until(lambda: len(c.good()) == 30)
        await c.until(lambda: bool(c.told("input-rejected")) and c.source.counts.waiting == 0)
        (said,) = c.told("input-rejected")
        assert "no JSON" in said.text and c.source.counts.rejected == 5


async def test_a_hostile_message_of_forty_megabytes_is_left(broker: Broker, tmp_path: Path) -> None:
    async with collecting(tmp_path, broker) as c:
        await c.send(b"[" + b"1," * 20_000_000 + b"1]")
        await c.count(0, 3)
        await c.until(lambda: len(c.good()) == 3)
        assert not c.told("source-lost")


async def test_what_the_broker_had_retained_is_stored_once(broker: Broker, tmp_path: Path) -> None:
    shape = JsonShape("r/+", name="{1}", value="/v", time="/t", time_format="ms")
    bare = JsonShape("bare/+", name="{1}")
    async with collecting(tmp_path, broker, shape, bare) as c:
        await c.send({"v": 7, "t": T + 7}, topic="r/A", retain=True)
        await c.send(9, topic="bare/B", retain=True)
        await c.until(lambda: c.good() == [7.0] and c.good("own.b.pv") == [9.0])
    async with collecting(tmp_path, broker, shape, bare) as c:
        await c.send({"v": 8, "t": T + 8}, topic="r/A")
        await c.until(lambda: 8.0 in c.good())
        assert c.good() == [7.0, 8.0] and c.good("own.b.pv") == [9.0]
    await c.send(b"", b"", topic="r/A", retain=True)
    await c.send(b"", topic="bare/B", retain=True)


async def test_a_broker_that_restarts_is_found_again_with_all_that_it_kept(tmp_path: Path) -> None:
    with Mosquitto(tmp_path / "broker") as mosquitto:
        broker = Broker("127.0.0.1", mosquitto.port, "we", window=20)
        async with collecting(tmp_path / "data", broker) as c:
            await c.count(0, 40)
            await c.until(lambda: len(c.good()) == 40)
            await asyncio.to_thread(mosquitto.stop)
            await c.until(lambda: bool(c.told("source-lost")))
            await asyncio.to_thread(mosquitto.start)
            await c.until(lambda: len(c.told("source-connected")) == 2)
            await c.count(40, 60)
            await c.until(lambda: len(c.good()) == 60)
            assert "what was sent meanwhile comes first" in c.told("source-connected")[1].text
            assert not (c.series().quality == NO_DATA).any()
            assert c.source.counts.reconnects == 1


async def test_what_was_received_before_the_end_is_stored_and_acknowledged(
    broker: Broker, tmp_path: Path
) -> None:
    async with collecting(tmp_path, broker) as c:
        await c.count(0, 15)
        async with asyncio.timeout(20.0):
            while c.source.counts.received == 0:  # noqa: ASYNC110
                await asyncio.sleep(0)
    received = c.source.counts.received
    assert c.source.counts.waiting == 0
    async with collecting(tmp_path, broker) as c:
        await c.until(lambda: len(c.good()) == 15)
        assert c.source.counts.received == 15 - received
