"""One connection to a real broker: session kept, acknowledged by hand, refused in clear words."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from paho.mqtt import publish
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from collector.errors import SourceAway, SourceRefused
from collector.mqtt.broker import Broker
from collector.mqtt.connection import Connection, Message, Publication
from collector.secret import Secret
from tests.support.mosquitto import Mosquitto
from tests.support.ports import free_port

pytestmark = pytest.mark.broker


@pytest.fixture(scope="module")
def mosquitto(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    folder = tmp_path_factory.mktemp("broker")
    (folder / "passwords").write_text("")
    with Mosquitto(folder, "max_inflight_messages 100") as broker:
        yield broker


@pytest.fixture(params=["5", "3.1.1"])
def broker(request: pytest.FixtureRequest, mosquitto: Mosquitto) -> Broker:
    return Broker(
        "127.0.0.1", mosquitto.port, f"we-{request.param}-{request.node.name}", version=request.param
    )


async def until(true: Callable[[], bool]) -> None:
    async with asyncio.timeout(20.0):
        while not true():  # noqa: ASYNC110  (a broker cannot wake a test)
            await asyncio.sleep(0.02)


def send(broker: Broker, topic: str, *payloads: str, retain: bool = False) -> None:
    messages = [{"topic": topic, "payload": p, "qos": 1, "retain": retain} for p in payloads]
    publish.multiple(messages, hostname=broker.host, port=broker.port)  # type: ignore[arg-type]


async def test_what_was_not_acknowledged_comes_again_and_what_came_meanwhile_too(broker: Broker) -> None:
    heard: list[tuple[bytes, bool, int]] = []

    def hear(message: Message) -> None:
        heard.append((message.payload, message.dup, message.mid))

    topics = [(f"{broker.client_id}/+", 1)]
    first = Connection(broker, hear, topics)
    assert await first.open() is False
    await asyncio.to_thread(send, broker, f"{broker.client_id}/a", "1", "2")
    await until(lambda: len(heard) == 2)
    first.ack([heard[0][2]])
    await first.close()
    await asyncio.to_thread(send, broker, f"{broker.client_id}/a", "3")
    heard.clear()
    second = Connection(broker, hear, topics)
    assert await second.open() is True
    await until(lambda: len(heard) == 2)
    assert [(payload, dup) for payload, dup, _ in heard] == [(b"2", True), (b"3", False)]
    second.ack([mid for _, _, mid in heard])
    await second.close()


async def test_nothing_listens_there() -> None:
    connection = Connection(Broker("127.0.0.1", free_port(), "we"), lambda _: None, [("a", 1)])
    with pytest.raises(SourceAway, match=r"mqtt://127.0.0.1:.* does not answer"):
        await connection.open()


async def test_a_broker_that_goes_is_told(tmp_path: Path) -> None:
    with Mosquitto(tmp_path / "broker") as mosquitto:
        connection = Connection(Broker("127.0.0.1", mosquitto.port, "we"), lambda _: None, [("a", 1)])
        await connection.open()
        await asyncio.to_thread(mosquitto.stop)
        async with asyncio.timeout(20.0):
            with pytest.raises(SourceAway, match="the connection broke"):
                await connection.lost()
        await connection.close()


async def test_a_wrong_login_is_refused_and_no_password_is_shown(tmp_path: Path) -> None:
    word = tmp_path / "password"
    word.write_text("of-lines\n", encoding="utf-8")
    with Mosquitto(tmp_path / "broker", "allow_anonymous false") as mosquitto:
        broker = Broker("127.0.0.1", mosquitto.port, "we", user="reader", password=Secret(file=word))
        assert "of-lines" not in repr(broker)
        for version in ("5", "3.1.1"):
            connection = Connection(replace(broker, version=version), lambda _: None, [("a", 1)])  # type: ignore[arg-type]
            with pytest.raises(SourceRefused, match="refuses the login as 'we'") as refused:
                await connection.open()
            assert "of-lines" not in str(refused.value)


async def test_what_the_callback_raises_ends_the_connection_with_a_word(broker: Broker) -> None:
    def fail(message: Message) -> None:
        raise ZeroDivisionError(message.topic)

    connection = Connection(broker, fail, [(f"{broker.client_id}/#", 1)])
    await connection.open()
    await asyncio.to_thread(send, broker, f"{broker.client_id}/x", "1")
    async with asyncio.timeout(20.0):
        with pytest.raises(SourceAway, match=r"could not be taken .ZeroDivisionError"):
            await connection.lost()
    await connection.close()


async def test_the_will_is_published_when_the_connection_dies(broker: Broker) -> None:
    heard: list[bytes] = []
    topic = f"{broker.client_id}/state"
    hearer = Connection(broker, lambda m: heard.append(m.payload), [(topic, 1)])
    await hearer.open()
    other = replace(broker, client_id=f"other-{broker.client_id}")
    dying = Connection(other, lambda _: None, [("b", 0)], will=Publication(topic, b"gone", retain=True))
    await dying.open()
    dying.publish(Publication(topic, b"here", retain=True))
    await until(lambda: heard == [b"here"])
    assert dying._client is not None and dying._client.socket() is not None
    dying._client.socket().close()  # type: ignore[union-attr]
    await until(lambda: heard == [b"here", b"gone"])
    await dying.close()
    await hearer.close()


async def test_a_refused_subscription_says_which_and_to_whom(broker: Broker) -> None:
    connection = Connection(broker, lambda _: None, [("a/+", 1), ("b/#", 1)])
    # The broker of these tests grants whatever is asked; what a refusal looks like is the standard's
    # (MQTT 5.0, 3.9.3: 0x87; MQTT 3.1.1, 3.9.3: 0x80).
    refusal = ReasonCode(PacketTypes.SUBACK, identifier=0x87)
    connection._granted.set_result([ReasonCode(PacketTypes.SUBACK, identifier=1), refusal])
    with pytest.raises(
        SourceRefused, match=r"refuses the subscription to b/#; let the user 'anonymous' read"
    ):
        await connection._subscribed()
    await connection.close()
