"""One connection to an MQTT broker, from its login to its loss; no error of paho gets past it."""

from __future__ import annotations

import asyncio
import contextlib
import select
import socket
import ssl
import struct
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import structlog
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion, MessageType, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from collector.errors import SourceAway, SourceRefused
from collector.mqtt.broker import Broker

CONNECT_S: Final = 5.0
PAUSE_S: Final = 0.01
"""When nothing more has come for so long, what was heard is handed on."""

_BUSY_S: Final = 0.05  # while more comes it is handed on so often
_AT_ONCE: Final = 500  # messages heard before the connection is looked after again
_IDLE_S: Final = 1.0
_PUBACK: Final = struct.Struct("!BBH")  # MQTT 3.1.1, 3.4: type, length of the rest, number
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


def _ignore(*_: object) -> None:
    """Nobody asked to be told."""


class Connection:
    """One connection; the next one is a new object.

    It reads on a thread of its own: many messages are taken between two looks at the socket, and all that is
    to be acknowledged is sent from there.

    Args:
        broker: where, and who we are.
        heard: called with each message ON THAT THREAD; must be quick and must not raise.
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
        self._count = 0
        self._restless = False
        self._heard_s = self._calmed_s = self._looked_s = 0.0
        self._due: deque[int] = deque()
        self._out: deque[Publication] = deque()
        self._woken, self._waker = socket.socketpair()
        self._woken.setblocking(False)
        self._thread: threading.Thread | None = None
        self._reading, self._ending = True, False
        self._loop = asyncio.get_running_loop()
        self._answer: asyncio.Future[tuple[ReasonCode, bool]] = self._loop.create_future()
        self._granted: asyncio.Future[list[ReasonCode]] = self._loop.create_future()
        self._down: asyncio.Future[str] = self._loop.create_future()
        self._v5 = broker.version == "5"
        self._client: paho.Client | None = None

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
            self._thread = threading.Thread(
                target=self._work, args=(client,), name=f"mqtt {broker}", daemon=True
            )
            self._thread.start()
            async with asyncio.timeout(CONNECT_S):
                reason, kept = await self._answer
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
        self._due.extend(mids)
        self._wake()

    def publish(self, publication: Publication) -> None:
        """Publish, on any thread; nothing happens once the connection is gone."""
        self._out.append(publication)
        self._wake()

    def stop_reading(self) -> None:
        """Take no further message; what was taken can still be acknowledged."""
        self._reading = False
        self._wake()

    async def close(self) -> None:
        """Send what is to be sent, say goodbye and end."""
        self._ending = True
        self._wake()
        if self._thread is not None:
            await asyncio.to_thread(self._thread.join)
            self._thread = None
        self._woken.close()
        self._waker.close()
        for future in (self._answer, self._granted, self._down):
            future.cancel()

    def _wake(self) -> None:
        with contextlib.suppress(OSError):
            self._waker.send(b"\0")

    def _work(self, client: paho.Client) -> None:
        """The thread: read, hear, acknowledge, until the connection is gone or to be ended."""
        try:
            while (sock := client.socket()) is not None and not self._ending:
                self._turn(client, sock)
            if self._restless:
                self._safely(self._calm, True)
            if (sock := client.socket()) is not None:
                self._send(client, sock)
                client.disconnect()
        except Exception as error:
            _log.exception("connection_failed", broker=str(self.broker))
            self._tell(self._down, f"the connection failed ({type(error).__name__}: {error})")

    def _turn(self, client: paho.Client, sock: Any) -> None:
        hear = [sock] if self._reading else []
        write = [sock] if client.want_write() else []
        pending = self._reading and hasattr(sock, "pending") and sock.pending() > 0
        wait_s = 0.0 if pending else PAUSE_S if self._restless else _IDLE_S
        readable, writable, _ = select.select([*hear, self._woken], write, [], wait_s)
        if self._woken in readable:
            with contextlib.suppress(BlockingIOError):
                self._woken.recv(4096)
        now_s = time.monotonic()
        if pending or sock in readable:
            self._hear_all(client)
            if self._restless and now_s - self._calmed_s >= _BUSY_S:
                self._calmed_s = now_s
                self._safely(self._calm, False)
        elif self._restless and now_s - self._heard_s >= PAUSE_S:
            self._restless, self._calmed_s = False, now_s
            self._safely(self._calm, True)
        if writable:
            client.loop_write()
        self._send(client, sock)
        if now_s - self._looked_s >= _IDLE_S:
            self._looked_s = now_s
            client.loop_misc()

    def _hear_all(self, client: paho.Client) -> None:
        """Read until nothing more has arrived, but look up from it now and then."""
        start = self._count
        for _ in range(_AT_ONCE):
            before = self._count
            if client.loop_read() != paho.MQTT_ERR_SUCCESS or self._count == before:
                break
        if self._count > start:
            self._restless, self._heard_s = True, time.monotonic()

    def _send(self, client: paho.Client, sock: Any) -> None:
        while self._out:
            publication = self._out.popleft()
            client.publish(publication.topic, publication.payload, publication.qos, publication.retain)
        if self._due and client.socket() is sock and not client.want_write():
            self._acknowledge(sock)

    def _acknowledge(self, sock: Any) -> None:
        """Send all acknowledgements that are due at once: the library would make a system call for each.

        Only while the library has nothing to write itself: what it has begun must not be cut in two.
        """
        due = b"".join(
            _PUBACK.pack(MessageType.PUBACK, 2, self._due.popleft())
            for _ in range(min(len(self._due), 10_000))
        )
        while due:
            try:
                due = due[sock.send(due) :]
            except (BlockingIOError, ssl.SSLWantWriteError):
                if not select.select([], [sock], [], self.broker.keepalive_s)[1]:
                    raise TimeoutError("the broker takes no acknowledgements") from None
            except OSError:
                return  # the library finds the connection broken when it reads

    def _made(self) -> paho.Client:
        broker = self.broker
        client = paho.Client(
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
        self._count += 1
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
