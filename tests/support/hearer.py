"""An MQTT client of the tests' own that keeps what it hears, in a session that outlives connections."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Any

import paho.mqtt.client as paho


class Hearer:
    """Subscribes to everything below a topic and keeps the messages in order of arrival.

    Attributes:
        messages: topic, payload, QoS and retain flag of each message.
    """

    def __init__(self, port: int, topic: str, *, user: str = "", password: str = "") -> None:
        self.messages: list[tuple[str, bytes, int, bool]] = []
        self._subscribed = threading.Event()
        self._client = client = paho.Client(
            paho.CallbackAPIVersion.VERSION2, f"hearer-{port}", clean_session=False
        )
        client.reconnect_delay_set(0.1, 0.2)
        if user:
            client.username_pw_set(user, password)
        client.on_connect = lambda *_: client.subscribe(topic, 2)
        client.on_subscribe = lambda *_: self._subscribed.set()
        client.on_message = lambda _c, _u, m: self.messages.append((m.topic, m.payload, m.qos, m.retain))
        client.connect("127.0.0.1", port)
        client.loop_start()
        assert self._subscribed.wait(10.0)

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Say something."""
        self._client.publish(topic, payload, 1, retain).wait_for_publish(5.0)

    def wait(self, enough: Callable[[list[Any]], bool], seconds: float = 15.0) -> None:
        """Wait until what was heard is enough."""
        last = time.monotonic() + seconds
        while not enough(self.messages):
            assert time.monotonic() < last, f"{len(self.messages)} messages are not enough"
            time.sleep(0.02)

    def close(self) -> None:
        """Leave."""
        self._client.disconnect()
        self._client.loop_stop()
