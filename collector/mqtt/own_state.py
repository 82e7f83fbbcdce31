"""Our own state as a Sparkplug host application: told, kept right, and taken back.

Source: Sparkplug specification 3.0, 5.2, 5.13 (host application session establishment), 5.14 (termination).
"""

from __future__ import annotations

import asyncio
import contextlib
from typing import Final

from collector.clock import Clock
from collector.mqtt.connection import Connection, Publication
from collector.sparkplug.state import State, read_state, state_topic

_LEAVE_S: Final = 1.0


class OwnState:
    """What is told of one host on one broker.

    ``hear`` is called on the connection's thread, everything else on the event loop's.

    Args:
        host_id: of the host.
        clock: the edge's.

    Attributes:
        topic: where it is told.
        contested: what somebody told of us with a time later than ours; None while nobody has.
    """

    def __init__(self, host_id: str, clock: Clock) -> None:
        self.topic = state_topic(host_id)
        self.contested: State | None = None
        self._clock = clock
        self._told = State(True, 0)
        self._standing = False
        self._parting: tuple[State, asyncio.Event] | None = None

    @property
    def time_ms(self) -> int:
        """The time of the present connection."""
        return self._told.time_ms

    def begin(self) -> Publication:
        """The will of the next connection; its time is later than any that was told before."""
        told_ms = max(self._told.time_ms, self.contested.time_ms if self.contested else 0)
        self._told = State(True, max(self._clock.now_ns() // 1_000_000, told_ms + 1))
        self.contested, self._standing = None, False
        return self._publication(State(False, self._told.time_ms))

    def tell(self, connection: Connection) -> None:
        """We are there; to be told when the subscriptions stand.

        Source: tck-id-message-flow-phid-sparkplug-state-publish; the time is that of the will by
        tck-id-host-topic-phid-birth-payload-timestamp.
        """
        connection.publish(self._publication(self._told))
        self._standing = True

    def hear(self, body: bytes, connection: Connection, loop: asyncio.AbstractEventLoop) -> None:
        """Somebody tells of us: what says that we are gone is set right at once.

        Source: tck-id-message-flow-hid-sparkplug-state-message-delivered.
        """
        told = read_state(body)
        if told is None or told.online:
            return
        if self._parting is not None:
            if told == self._parting[0]:
                with contextlib.suppress(RuntimeError):  # the loop is closed: nobody waits any more
                    loop.call_soon_threadsafe(self._parting[1].set)
            return
        if told.time_ms > self._told.time_ms:
            # Edge nodes believe the later time: only a new connection can have one that is later still.
            self.contested = told
        if self._standing:
            self.tell(connection)

    async def leave(self, connection: Connection) -> None:
        """Tell that we go, and wait until that has come back: what is on its way could break off a goodbye.

        Source: tck-id-operational-behavior-host-application-termination, -disconnect-intentional.
        """
        gone = State(False, max(self._clock.now_ns() // 1_000_000, self._told.time_ms))
        back = asyncio.Event()
        self._parting = (gone, back)
        connection.publish(self._publication(gone))
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(_LEAVE_S):
                await back.wait()
        self._parting = None

    def _publication(self, state: State) -> Publication:
        return Publication(self.topic, state.body(), 1, retain=True)
