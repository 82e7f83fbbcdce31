"""One connection to an MQTT broker, told of in the event loop."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from typing import Any, Final
from uuid import uuid4

import structlog
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from historian.errors import OutsideWorldAway, WrongInput
from simulator.serving.broker import Broker
from simulator.serving.outbox import Message

WINDOW: Final = 20
_CONNECT_S: Final = 5.0
# MQTT 5.0, 3.14.2.1: disconnect, and the broker publishes the will.
_WITH_WILL: Final = "Disconnect with will message"
# MQTT 5.0, 3.2.2.2: the login is refused, whatever is tried again.
_REFUSALS: Final = {"Bad user name or password", "Not authorized", "Bad authentication method", "Banned"}

_log = structlog.get_logger(__name__)


def _ignore(*_: Any) -> None:
    """Nobody asked to be told."""


class Link:
    """One connection to a broker, from its start to its end; the next one is a new object.

    paho calls back in a thread of its own, where an exception would end that thread without a word: what it
    tells is only passed on to the event loop.

    Args:
        told: called with number of each message that the broker has (QoS 0: that the system took).
        heard: called with topic and payload of each message received.
        will: what the broker publishes when the connection ends without a goodbye.

    Attributes:
        down: set when the connection is gone, or is to be left.
        leaving: whether it is to be left in order.
        reached: whether the broker could be spoken to, so that a login was sent.
        window: messages in flight that the broker allows.
    """

    def __init__(
        self,
        broker: Broker,
        *,
        told: Callable[[int], None] = _ignore,
        heard: Callable[[str, bytes], None] = _ignore,
        will: Message | None = None,
    ) -> None:
        self.broker = broker
        self.down = asyncio.Event()
        self.leaving = False
        self.reached = False
        self.window = WINDOW
        self._loop = asyncio.get_running_loop()
        self._answer: asyncio.Future[ReasonCode] = self._loop.create_future()
        self._ended = False
        self._v5 = broker.version == "5"
        self._client = client = paho.Client(
            CallbackAPIVersion.VERSION2,
            f"meltledger-{uuid4().hex[:12]}",
            clean_session=None if self._v5 else True,
            protocol=MQTTProtocolVersion.MQTTv5 if self._v5 else MQTTProtocolVersion.MQTTv311,
            reconnect_on_failure=False,
        )
        client.connect_timeout = _CONNECT_S
        client.max_inflight_messages_set(WINDOW)
        if broker.user is not None:
            client.username_pw_set(broker.user, broker.password)
        if broker.tls:
            client.tls_set_context(broker.tls_context())
        if will is not None:
            client.will_set(will.topic, will.payload, will.qos)
        client.on_connect = lambda _c, _u, _f, reason, props: self._tell(self._answered, reason, props)
        client.on_disconnect = lambda *_: self._tell(self._lost)
        client.on_publish = lambda _c, _u, number, reason, _p: self._tell(self._took, told, number, reason)
        client.on_message = lambda _c, _u, message: self._tell(heard, message.topic, bytes(message.payload))
        client.on_subscribe = lambda _c, _u, _m, reasons, _p: self._tell(self._subscribed, reasons)

    async def open(self) -> None:
        """Connect and log in.

        Raises:
            OutsideWorldAway: the broker does not answer.
            WrongInput: it refuses the login.
        """
        broker = self.broker
        try:
            await asyncio.to_thread(self._client.connect, broker.host, broker.port, broker.keepalive_s)
            self.reached = True
            self._client.loop_start()
            async with asyncio.timeout(_CONNECT_S):
                reason = await self._answer
        except (OSError, TimeoutError, ValueError) as error:
            await self.end()
            raise OutsideWorldAway(
                f"{broker}: the broker does not answer ({str(error) or 'not in time'}); is it running there?"
            ) from error
        except asyncio.CancelledError:
            await self.end()
            raise
        if reason.is_failure:
            await self.end()
            kind = WrongInput if reason.getName() in _REFUSALS else OutsideWorldAway
            raise kind(f"{broker}: the broker refuses the login ({reason}); check user and password")

    def publish(self, message: Message) -> int:
        """Hand over a message; the number under which it will be told."""
        return self._client.publish(message.topic, message.payload, message.qos).mid

    def subscribe(self, topic: str, qos: int) -> None:
        """Ask for the messages of a topic."""
        self._client.subscribe(topic, qos)

    def leave(self) -> None:
        """Whoever uses the connection is to say goodbye and make another one."""
        self.leaving = True
        self.down.set()

    async def end(self, *, with_will: bool = False) -> None:
        """Say goodbye if the connection is still there, and let go of it; nothing is told from now on.

        Args:
            with_will: let the broker publish the will all the same (MQTT 5 only).
        """
        self._ended = True
        reason = ReasonCode(PacketTypes.DISCONNECT, _WITH_WILL) if with_will and self._v5 else None
        self._client.disconnect(reason)
        await asyncio.shield(asyncio.to_thread(self._client.loop_stop))

    def _tell(self, call: Callable[..., None], *what: Any) -> None:
        with contextlib.suppress(RuntimeError):  # the event loop is closed: nobody listens any more
            self._loop.call_soon_threadsafe(self._pass_on, call, what)

    def _pass_on(self, call: Callable[..., None], what: tuple[Any, ...]) -> None:
        if not self._ended:
            call(*what)

    def _answered(self, reason: ReasonCode, properties: Properties | None) -> None:
        self.window = min(WINDOW, getattr(properties, "ReceiveMaximum", WINDOW))
        if not self._answer.done():
            self._answer.set_result(reason)

    def _lost(self) -> None:
        self.down.set()
        if not self._answer.done():
            self._answer.set_exception(ConnectionError("it hung up before answering"))

    def _took(self, told: Callable[[int], None], number: int, reason: ReasonCode) -> None:
        if reason.is_failure:
            _log.error("message_refused", broker=str(self.broker), reason=str(reason))
        told(number)

    def _subscribed(self, reasons: list[ReasonCode]) -> None:
        if any(reason.is_failure for reason in reasons):
            _log.error("subscription_refused", broker=str(self.broker), reason=str(reasons[0]))
