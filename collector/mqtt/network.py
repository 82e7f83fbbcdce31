"""The thread of one connection: reads many messages between two looks, acknowledges many at once."""

from __future__ import annotations

import contextlib
import select
import socket
import ssl
import struct
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from typing import Any, Final

import structlog
from paho.mqtt import client as paho
from paho.mqtt.enums import MessageType

PAUSE_S: Final = 0.01
"""When nothing more has come for so long, what was heard is handed on."""

_GATHER_S: Final = 0.005  # while more comes: several messages then cost one look at the network
_BUSY_S: Final = 0.05  # while more comes it is handed on so often
_AT_ONCE: Final = 500  # messages heard before the connection is looked after again
_IDLE_S: Final = 1.0
_GOODBYE_S: Final = 2.0
_PUBACK: Final = struct.Struct("!BBH")  # MQTT 3.1.1, 3.4: type, length of the rest, number
_DISCONNECT: Final = b"\xe0\0"  # MQTT 3.1.1, 3.14, and MQTT 5.0, 3.14: goodbye, the will is not wanted

_log = structlog.get_logger(__name__)


class Network:
    """Drives the library's client on a thread of its own; what the thread calls must not raise.

    Args:
        client: connected already.
        stuck_s: how long the broker may refuse to take acknowledgements.
        calm: called on the thread when something was heard, as soon as nothing more comes, with True; and now
            and then while more comes, with False.
        failed: called on the thread with the reason, when it must end.
    """

    def __init__(
        self,
        client: paho.Client,
        name: str,
        *,
        stuck_s: float,
        calm: Callable[[bool], None],
        failed: Callable[[str], None],
    ) -> None:
        self._client, self._stuck_s, self._calm, self._failed = client, stuck_s, calm, failed
        self._due: deque[int] = deque()
        self._out: deque[Callable[[], object]] = deque()
        self._woken, self._waker = socket.socketpair()
        self._woken.setblocking(False)
        self._reading, self._ending = True, False
        self._heard = 0
        self._restless = False
        self._heard_s = self._calmed_s = self._looked_s = 0.0
        self._thread = threading.Thread(target=self._work, name=name, daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def heard(self) -> None:
        """A message was heard; to be called on the thread."""
        self._heard += 1

    def ack(self, mids: Iterable[int]) -> None:
        """Acknowledge messages of QoS 1, on any thread."""
        self._due.extend(mids)
        self._wake()

    def call(self, work: Callable[[], object]) -> None:
        """Have something done on the thread, where the library may write."""
        self._out.append(work)
        self._wake()

    def stop_reading(self) -> None:
        """Take no further message."""
        self._reading = False
        self._wake()

    def end(self) -> None:
        """Send what is to be sent, say goodbye, and wait until the thread has ended."""
        self._ending = True
        self._wake()
        if self._thread.ident is not None:
            self._thread.join()
        self._woken.close()
        self._waker.close()

    def _wake(self) -> None:
        with contextlib.suppress(OSError):
            self._waker.send(b"\0")

    def _work(self) -> None:
        client = self._client
        try:
            while (sock := client.socket()) is not None and not self._ending:
                self._turn(client, sock)
            if self._restless:
                self._calm(True)
            if (sock := client.socket()) is not None:
                self._send(client, sock)
                self._goodbye(client, sock)
        except Exception as error:
            _log.exception("connection_failed", thread=self._thread.name)
            self._failed(f"the connection failed ({type(error).__name__}: {error})")

    def _turn(self, client: paho.Client, sock: Any) -> None:
        hear = [sock] if self._reading else []
        write = [sock] if client.want_write() else []
        pending = self._reading and sock.pending() > 0
        wait_s = 0.0 if pending else PAUSE_S if self._restless else _IDLE_S
        readable, writable, _ = select.select([*hear, self._woken], write, [], wait_s)
        if self._woken in readable:
            with contextlib.suppress(BlockingIOError):
                self._woken.recv(4096)
        now_s = time.monotonic()
        if pending or sock in readable:
            if self._restless and not pending:
                time.sleep(_GATHER_S)
            self._hear_all(client)
            if self._restless and now_s - self._calmed_s >= _BUSY_S:
                self._calmed_s = now_s
                self._calm(False)
        elif self._restless and now_s - self._heard_s >= PAUSE_S:
            self._restless, self._calmed_s = False, now_s
            self._calm(True)
        if writable:
            client.loop_write()
        self._send(client, sock)
        if now_s - self._looked_s >= _IDLE_S:
            self._looked_s = now_s
            client.loop_misc()

    def _hear_all(self, client: paho.Client) -> None:
        """Read until nothing more has arrived, but look up from it now and then."""
        start = self._heard
        for _ in range(_AT_ONCE):
            before = self._heard
            if client.loop_read() != paho.MQTT_ERR_SUCCESS or self._heard == before:
                break
        if self._heard > start:
            self._restless, self._heard_s = True, time.monotonic()

    def _send(self, client: paho.Client, sock: Any) -> None:
        while self._out:
            self._out.popleft()()
        if self._due and client.socket() is sock and not client.want_write():
            self._acknowledge(sock)

    def _acknowledge(self, sock: Any) -> None:
        """Send all acknowledgements that are due at once: the library would make a system call for each.

        Only while the library has nothing to write itself: what it has begun must not be cut in two.
        """
        mids = [self._due.popleft() for _ in range(len(self._due))]
        due = b"".join(_PUBACK.pack(MessageType.PUBACK, 2, mid) for mid in mids)
        while due:
            try:
                due = due[sock.send(due) :]
            except (BlockingIOError, ssl.SSLWantWriteError):
                if not select.select([], [sock], [], self._stuck_s)[1]:
                    raise TimeoutError("the broker takes no acknowledgements") from None
            except OSError:
                return  # the library finds the connection broken when it reads

    def _goodbye(self, client: paho.Client, sock: Any) -> None:
        """Leave in order, and hear the broker out until it closes.

        To close while something is unread resets the connection: the broker would then not read our last
        acknowledgements, and send those messages once more.
        """
        if not client.want_write():
            end_s = time.monotonic() + _GOODBYE_S
            with contextlib.suppress(OSError):
                sock.settimeout(_GOODBYE_S)
                sock.sendall(_DISCONNECT)
                while time.monotonic() < end_s and sock.recv(65_536):
                    pass
        client.disconnect()
