"""The line behind its server: builds it, publishes through it, and makes it misbehave on demand."""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import cast

from asyncua import ua
from asyncua.server.server import Server

from historian.errors import OutsideWorldAway, WrongInput
from historian.frame import NS
from historian.tags import Tag
from simulator.opcua.archive import Archive
from simulator.opcua.conditions import Conditions
from simulator.opcua.history import MachineHistory
from simulator.opcua.ledger import Ledger
from simulator.opcua.places import Layout, Space
from simulator.opcua.published import Sample
from simulator.opcua.security import Security, arm, new_certificate
from simulator.opcua.times import stamp

APPLICATION_URI = "urn:meltledger:simulated-line:server"


@dataclass(frozen=True, slots=True)
class Features:
    """What a served line has beyond its variables.

    Attributes:
        space: how the nodes are laid out.
        archive: the memory that HistoryRead is answered from; None: no history.
        security: certificates and users; None: open to everybody.
        alarms: whether the machine has its own alarm list.
    """

    space: Space
    archive: Archive | None = None
    security: Security | None = None
    alarms: bool = False


class ServedLine:
    """A server of a line's tags that can be torn down and built again while the line runs on.

    Attributes:
        skew_ns: how far the source clock is off, by what ``skew`` added.
        server: the server of now.
        layout: its nodes.
    """

    def __init__(
        self, endpoint: str, tags: Sequence[Tag], features: Features, books: Iterable[Ledger] = ()
    ) -> None:
        self.skew_ns = 0
        self.server: Server
        self.layout: Layout
        self._endpoint = endpoint
        self._tags = tags
        self._features = features
        self._books = tuple(books)
        self._latest: dict[int, Sample] = {}
        self._conditions = Conditions() if features.alarms else None
        # While the server is away nothing is published; the line catches up afterwards.
        self._turn = asyncio.Lock()

    async def build(self, namespaces_before: int = 0) -> None:
        """Build a server that does not listen yet; so many other namespaces come before the line's own."""
        # The library tells of every connection, and warns of missing security: a simulated line has none.
        logging.getLogger("asyncua").setLevel(logging.ERROR)
        features = self._features
        server = Server()
        if self._conditions is not None:
            self._conditions.prepare(server)
        await server.init()
        server.set_endpoint(self._endpoint)
        server.set_server_name("Simulated line")
        await server.set_application_uri(APPLICATION_URI)
        server.set_security_policy([ua.SecurityPolicyType.NoSecurity])
        if features.security is not None:
            await arm(server, features.security)
        for number in range(1, namespaces_before + 1):
            await server.register_namespace(f"urn:meltledger:simulated-line:other-{number}")
        layout = await features.space.build(server, self._tags)
        if features.archive is not None:
            await MachineHistory(server, features.archive).open(server, self._tags, layout)
        if self._conditions is not None:
            await self._conditions.build(server, layout.machine)
        self.server, self.layout = server, layout

    async def listen(self) -> None:
        """Let clients connect.

        Raises:
            OutsideWorldAway: the endpoint cannot be listened on.
        """
        try:
            await self.server.start()
        except OSError as error:
            raise OutsideWorldAway(
                f"{self._endpoint}: cannot listen there ({error}); name another endpoint"
            ) from error

    async def stop(self) -> None:
        """Close every connection and stop listening."""
        async with self._turn:
            await self.server.stop()

    async def publish(self, samples: Sequence[Sample]) -> None:
        """Publish, and keep, one second's samples."""
        if self.skew_ns:
            samples = [replace(s, time_ns=s.time_ns + self.skew_ns) for s in samples]
        async with self._turn:
            await self._write(samples)
            if self._features.archive is not None:
                self._features.archive.keep(samples)
            if self._conditions is not None:
                await self._conditions.judge(samples)
        for book in self._books:
            book.write(samples)

    async def _write(self, samples: Iterable[Sample]) -> None:
        now = cast("ua.DateTime", datetime.now(UTC))
        for sample in samples:
            self._latest[sample.column] = sample
            source_time = stamp(sample.time_ns)
            for place in self.layout.places[sample.column]:
                value = ua.DataValue(
                    ua.Variant(place.cast(sample.value), place.type),
                    ua.StatusCode(ua.UInt32(sample.quality)),
                    SourceTimestamp=source_time,
                    ServerTimestamp=now,
                )
                # Straight to the address space: the client's way round costs several times as much.
                await self.server.write_attribute_value(place.id, value)

    def freeze(self, seconds: float) -> None:
        """Do nothing at all for a while: connections stay open, nothing answers, nothing is published.

        Blocks the event loop that the server runs in, and so whatever else runs there.
        """
        time.sleep(seconds)

    def drop(self) -> None:
        """Break every connection without a goodbye; clients may come back at once."""
        for transport in list(self.server.iserver.asyncio_transports):
            transport.abort()

    def skew(self, seconds: float) -> None:
        """Set the source clock on by so much, or back; from the next second on."""
        self.skew_ns += round(seconds * 1000) * (NS // 1000)

    async def restart(self, *, down_s: float = 0.0, namespaces_before: int = 0) -> None:
        """Stop the server, and start another one at the same address, with the values of before."""
        async with self._turn:
            await self.server.stop()
            await asyncio.sleep(down_s)
            await self.build(namespaces_before)
            await self._write(list(self._latest.values()))
            if self._conditions is not None:
                await self._conditions.tell_again()
            await self.listen()

    async def change_certificate(self) -> None:
        """Show another certificate from now on; every connection is broken.

        Raises:
            WrongInput: the line is served without security.
        """
        if self._features.security is None:
            raise WrongInput("the line is served without security: it has no certificate to change")
        async with self._turn:
            await new_certificate(self.server, self._features.security)
        self.drop()
