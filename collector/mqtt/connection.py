"""One connection to an MQTT broker, from its login to its loss; no error of paho gets past it."""

from __future__ import annotations

import asyncio
import contextlib
import ssl
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

import structlog
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from collector.errors import SourceAway, SourceRefused
from collector.mqtt.ahead import ReadsAhead
from collector.mqtt.broker import Broker
from collector.mqtt.network import Network

CONNECT_S: Final = 5.0
# MQTT 5.0, 3.2.2.2, and MQTT 3.1.1, 3.2.2.3, in the words of the library: trying again changes nothing.
_REFUSALS: Final = {
    "Unsupported protocol version",
    "Client identifier not valid",
    "Bad user name or password",
    "Not authorized",
    "Banned",
    "Bad authentication method",
}

_log = structlog.get_logger(__name__)

Message = paho.MQTTMessage
"""Of a message are read: ``topic``, ``payload``, ``mid``, ``qos``, ``retain``, ``dup``."""


@dataclass(frozen=True, slots=True)
class Publication:
    """What is to be published.

    Attributes:
        retain: whether the broker keeps it for later subscribers.
    """

    topic: str
    payload: bytes
    qos: int = 1
    retain: bool = False


class _Client(paho.Client):
    """The library's, over a socket that reads ahead."""

    def _create_socket(self) -> Any:
        return ReadsAhead(super()._create_socket())


def _ignore(*_: object) -> None:
    """Nobody asked to be told."""


class Connection:
    """One connection; the next one is a new object.

    Args:
        broker: where, and who we are.
        heard: called with each message ON THE CONNECTION'S THREAD; must be quick and must not raise.
        topics: filters to subscribe to, with their QoS.
        will: what the broker publishes when the connection ends without a goodbye.
        welcomed: called on that thread before the first message: whether the broker has kept our session.
        calm: called on that thread when something was heard, as soon as nothing more comes, with True; and
            now and then while more comes, with False.
    """

    def __init__(
        self,
        broker: Broker,
        heard: Callable[[Message], None],
        topics: Sequence[tuple[str, int]],
        *,
        will: Publication | None = None,
        welcomed: Callable[[bool], None] = _ignore,
        calm: Callable[[bool], None] = _ignore,
    ) -> None:
        self.broker = broker
        self._heard, self._topics, self._will = heard, topics, will
        self._welcomed, self._calm = welcomed, calm
        self._loop = asyncio.get_running_loop()
        self._answer: asyncio.Future[tuple[ReasonCode, bool]] = self._loop.create_future()
        self._granted: asyncio.Future[list[ReasonCode]] = self._loop.create_future()
        self._down: asyncio.Future[str] = self._loop.create_future()
        self._v5 = broker.version == "5"
        self._client: paho.Client | None = None
        self._network: Network | None = None

    async def open(self) -> bool:
        """Connect, log in and subscribe.

        Returns:
            whether the broker has kept our session, with what it could not deliver.

        Raises:
            SourceAway: the broker does not answer.
            SourceRefused: it refuses the login or a subscription.
        """
        try:
            return await self._open()
        except BaseException:
            await self.close()
            raise

    async def _open(self) -> bool:
        broker = self.broker
        client = self._client = self._made()
        try:
            await asyncio.to_thread(client.connect, broker.host, broker.port, **self._login())
            self._network = Network(
                client,
                f"mqtt {broker}",
                stuck_s=broker.keepalive_s,
                calm=lambda paused: self._safely(self._calm, paused),
                failed=lambda why: self._tell(self._down, why),
            )
            self._network.start()
            async with asyncio.timeout(CONNECT_S):
                reason, kept = await self._answered()
        except ssl.SSLCertVerificationError as error:
            raise SourceRefused(
                f"{broker}: its certificate is not accepted ({error.verify_message}); give the file of its "
                "authority as ca, and the host by the name that the certificate is for"
            ) from error
        except (OSError, TimeoutError, ValueError) as error:
            why = str(error) or "not in time"
            raise SourceAway(f"{broker} does not answer ({why})") from error
        if reason.is_failure:
            words = f"{broker} refuses the login as '{broker.client_id}' ({reason})"
            if reason.getName() in _REFUSALS:
                raise SourceRefused(f"{words}; check user, password and what the broker lets them do")
            raise SourceAway(words)
        await self._subscribed()
        return kept

    async def _answered(self) -> tuple[ReasonCode, bool]:
        either: list[asyncio.Future[Any]] = [self._answer, self._down]
        await asyncio.wait(either, return_when=asyncio.FIRST_COMPLETED)
        if not self._answer.done():
            raise ConnectionError(self._down.result())
        return self._answer.result()

    async def _subscribed(self) -> None:
        try:
            async with asyncio.timeout(CONNECT_S):
                granted = await self._granted
        except TimeoutError as error:
            raise SourceAway(f"{self.broker} does not answer a subscription") from error
        refused = [t for (t, _), r in zip(self._topics, granted, strict=True) if r.is_failure]
        if refused:
            raise SourceRefused(
                f"{self.broker} refuses the subscription to {', '.join(refused)}; let the user "
                f"'{self.broker.user or 'anonymous'}' read there"
            )
        lower = [t for (t, qos), r in zip(self._topics, granted, strict=True) if int(r.value) < qos]
        if lower:
            _log.warning("qos_lowered", broker=str(self.broker), topics=lower)

    async def lost(self) -> None:
        """Wait until the connection is gone.

        Raises:
            SourceAway: with the reason; this is the only way out.
        """
        raise SourceAway(f"{self.broker}: {await asyncio.shield(self._down)}")

    def ack(self, mids: Iterable[int]) -> None:
        """Acknowledge messages of QoS 1, on any thread.

        Nothing happens once the connection is gone: the broker will send them again.
        """
        if self._network is not None:
            self._network.ack(mids)

    def publish(self, publication: Publication) -> None:
        """Publish, on any thread; nothing happens once the connection is gone."""
        if self._network is not None and self._client is not None:
            what = (publication.topic, publication.payload, publication.qos, publication.retain)
            self._network.call(partial(self._client.publish, *what))

    def stop_reading(self) -> None:
        """Take no further message; what was taken can still be acknowledged."""
        if self._network is not None:
            self._network.stop_reading()

    async def close(self) -> None:
        """Send what is to be sent, say goodbye and end."""
        if self._network is not None:
            await asyncio.to_thread(self._network.end)
        for future in (self._answer, self._granted, self._down):
            future.cancel()

    def _made(self) -> paho.Client:
        broker = self.broker
        client = _Client(
            CallbackAPIVersion.VERSION2,
            broker.client_id,
            clean_session=None if self._v5 else broker.session_s == 0,
            protocol=MQTTProtocolVersion.MQTTv5 if self._v5 else MQTTProtocolVersion.MQTTv311,
            reconnect_on_failure=False,
            manual_ack=True,
        )
        client.connect_timeout = CONNECT_S
        if broker.user is not None:
            password = None if broker.password is None else broker.password.read()
            client.username_pw_set(broker.user, password)
        if broker.tls:
            client.tls_set_context(broker.tls_context())
        if self._will is not None:
            will = self._will
            client.will_set(will.topic, will.payload, will.qos, will.retain)
        client.on_connect = self._connected
        client.on_subscribe = lambda _c, _u, _m, reasons, _p: self._tell(self._granted, reasons)
        client.on_disconnect = lambda _c, _u, _f, reason, _p: self._tell(
            self._down, f"the connection broke ({reason})"
        )
        client.on_message = self._take
        return client

    def _login(self) -> dict[str, Any]:
        broker = self.broker
        if not self._v5:
            return {"keepalive": broker.keepalive_s}
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = broker.session_s
        properties.ReceiveMaximum = min(broker.window, 65_535)
        properties.MaximumPacketSize = broker.largest_byte + 65_536
        return {
            "keepalive": broker.keepalive_s,
            "clean_start": broker.session_s == 0,
            "properties": properties,
        }

    def _connected(
        self, client: paho.Client, _userdata: object, flags: Any, reason: ReasonCode, _properties: object
    ) -> None:
        if not reason.is_failure:
            self._safely(self._welcomed, bool(flags.session_present))
            # What is retained is sent once, when a filter is new to the session, and not at each return.
            options = [
                (topic, SubscribeOptions(qos=qos, retainHandling=1) if self._v5 else qos)
                for topic, qos in self._topics
            ]
            client.subscribe(options)  # type: ignore[arg-type]
        self._tell(self._answer, (reason, bool(flags.session_present)))

    def _take(self, _client: paho.Client, _userdata: object, message: Message) -> None:
        if self._network is not None:
            self._network.heard()
        self._safely(self._heard, message)

    def _safely(self, told: Callable[..., None], *arguments: object) -> None:
        """An exception in the library's hands would end this thread without a word."""
        try:
            told(*arguments)
        except Exception as error:
            _log.exception("message_failed", broker=str(self.broker))
            self._tell(self._down, f"a message could not be taken ({type(error).__name__}: {error})")

    def _tell(self, future: asyncio.Future[Any], result: object) -> None:
        with contextlib.suppress(RuntimeError):  # the loop is closed: nobody waits any more
            self._loop.call_soon_threadsafe(_settle, future, result)


def _settle(future: asyncio.Future[Any], result: object) -> None:
    if not future.done():
        future.set_result(result)
