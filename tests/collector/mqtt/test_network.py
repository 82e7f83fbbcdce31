"""The connection's thread: heard in bunches, told when it is calm, acknowledged all at once."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator

import pytest
from paho.mqtt import publish

from collector.mqtt.broker import Broker
from collector.mqtt.connection import Connection
from tests.support.mosquitto import Mosquitto

pytestmark = pytest.mark.broker


@pytest.fixture(scope="module")
def mosquitto(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path_factory.mktemp("broker"), "max_inflight_messages 1000") as broker:
        yield broker


async def until(true: Callable[[], bool]) -> None:
    async with asyncio.timeout(20.0):
        while not true():  # noqa: ASYNC110  (a broker cannot wake a test)
            await asyncio.sleep(0.02)


async def send(broker: Broker, topic: str, count: int) -> None:
    messages = [{"topic": topic, "payload": str(n), "qos": 1} for n in range(count)]
    await asyncio.to_thread(publish.multiple, messages, hostname=broker.host, port=broker.port)  # type: ignore[arg-type]


async def test_hundreds_are_acknowledged_at_once_and_none_comes_again(mosquitto: Mosquitto) -> None:
    broker = Broker("127.0.0.1", mosquitto.port, "hundreds", version="3.1.1")
    heard: list[tuple[int, bytes]] = []
    first = Connection(broker, lambda m: heard.append((m.mid, m.payload)), [("hundreds", 1)])
    await first.open()
    await send(broker, "hundreds", 700)
    await until(lambda: len(heard) == 700)
    first.ack(mid for mid, _ in heard[:699])
    await first.close()
    # A broker that hears of the next connection first leaves what it has not read of this one.
    await until(lambda: "Client hundreds disconnected" in mosquitto.said())
    again: list[tuple[bytes, bool]] = []
    second = Connection(broker, lambda m: again.append((m.payload, m.dup)), [("hundreds", 1)])
    await second.open()
    await send(broker, "hundreds", 1)
    await until(lambda: len(again) == 2)
    assert again == [(b"699", True), (b"0", False)]
    await second.close()


async def test_calm_is_told_after_each_bunch_and_at_the_end(mosquitto: Mosquitto) -> None:
    broker = Broker("127.0.0.1", mosquitto.port, "calm")
    heard: list[bytes] = []
    told: list[tuple[bool, int]] = []
    connection = Connection(
        broker, lambda m: heard.append(m.payload), [("calm", 0)], calm=lambda paused: told.append((paused, len(heard)))
    )  # fmt: skip
    await connection.open()
    await send(broker, "calm", 5)
    await until(lambda: (True, 5) in told)
    quiet = len(told)
    await asyncio.sleep(0.1)
    assert len(told) == quiet  # nothing more was heard, so nothing more is told
    await send(broker, "calm", 1)
    await until(lambda: len(heard) == 6)
    await connection.close()
    assert told[-1] == (True, 6)


async def test_a_connection_that_stops_reading_still_acknowledges(mosquitto: Mosquitto) -> None:
    broker = Broker("127.0.0.1", mosquitto.port, "stops")
    heard: list[int] = []
    connection = Connection(broker, lambda m: heard.append(m.mid), [("stops", 1)])
    await connection.open()
    await send(broker, "stops", 3)
    await until(lambda: len(heard) == 3)
    connection.stop_reading()
    await send(broker, "stops", 2)
    connection.ack(heard)
    await connection.close()
    assert len(heard) == 3
    await until(lambda: "Client stops disconnected" in mosquitto.said())
    left: list[bytes] = []
    later = Connection(broker, lambda m: left.append(m.payload), [("stops", 1)])
    assert await later.open() is True
    await until(lambda: len(left) == 2)
    assert left == [b"0", b"1"]
    await later.close()
