"""The line behind its server: builds it, publishes through it, and makes it misbehave on demand."""

from __future__ import annotations

import asyncio
import contextlib
import gc
import logging
import time
from collections.abc import Iterable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass
from typing import Final

from asyncua import ua
from asyncua.server.server import Server
from asyncua.ua.object_ids import ObjectIds

from historian.errors import OutsideWorldAway, WrongInput
from historian.tags import Tag
from simulator.controls.view import Message
from simulator.opcua.archive import Archive
from simulator.opcua.conditions import Conditions
from simulator.opcua.history import MachineHistory
from simulator.opcua.places import Layout, Space
from simulator.opcua.security import Security, arm, new_certificate
from simulator.opcua.times import stamp
from simulator.opcua.values import data_value
from simulator.published import Sample
from simulator.serving.lateness import SourceClock
from simulator.serving.ledger import Ledger
from simulator.serving.trouble import RELAYED, Trouble
from simulator.serving.trouble_relay import TroubleRelay

APPLICATION_URI: Final = "urn:meltledger:simulated-line:server"
_CLOCK_S: Final = 1.0


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

    Args:
        endpoint: where clients find it.
        address: where the server itself listens, behind a relay; None: at the endpoint.

    Attributes:
        relay: what listens at the endpoint in its stead; None: nothing.
        clock: stamps the samples, and tells the server's time.
        server: the server of now.
        layout: its nodes.
    """

    def __init__(
        self,
        endpoint: str,
        tags: Sequence[Tag],
        features: Features,
        books: Iterable[Ledger] = (),
        address: tuple[str, int] | None = None,
    ) -> None:
        self.relay: TroubleRelay | None = None
        self.clock = SourceClock()
        self.server: Server
        self.layout: Layout
        self._endpoint = endpoint
        self._tags = tags
        self._features = features
        self._books = tuple(books)
        self._address = address
        self._shown: dict[int, tuple[Sample, int]] = {}
        self._conditions = Conditions() if features.alarms else None
        # While the server is away nothing is published; the line catches up afterwards.
        self._turn = asyncio.Lock()
        self._ticking: asyncio.Task[None] | None = None

    async def build(self, namespaces_before: int = 0) -> None:
        """Build a server that does not listen yet; so many other namespaces come before the line's own."""
        # The library tells of every connection, and warns of missing security: a simulated line has none.
        logging.getLogger("asyncua").setLevel(logging.ERROR)
        features = self._features
        server = Server()
        # It has a clock of its own, which may be wrong.
        server.iserver.disabled_clock = True
        if self._conditions is not None:
            self._conditions.prepare(server)
        with _without_collecting():
            await server.init()
        server.set_endpoint(self._endpoint)
        server.socket_address = self._address
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
        self._ticking = asyncio.create_task(self._tick(self.server))

    async def stop(self) -> None:
        """Close every connection and stop listening."""
        async with self._turn:
            await self._halt()

    async def _halt(self) -> None:
        if self._ticking is not None:
            self._ticking.cancel()
            await asyncio.gather(self._ticking, return_exceptions=True)
            self._ticking = None
        await self.server.stop()

    async def _tick(self, server: Server) -> None:
        """Tell the server's time, as its clock has it."""
        status = server.get_node(ObjectIds.Server_ServerStatus)
        current = server.get_node(ObjectIds.Server_ServerStatus_CurrentTime)
        while True:
            told = copy(await status.read_value())
            told.CurrentTime = stamp(self._now_ns())
            await status.write_value(told)
            await current.write_value(told.CurrentTime, ua.VariantType.DateTime)
            await asyncio.sleep(_CLOCK_S)

    def _now_ns(self) -> int:
        return time.time_ns() + self.clock.ahead_ns

    async def publish(self, samples: Sequence[Sample], said: Sequence[Message] = ()) -> None:
        """Publish, and keep, one second's samples; what comes late comes with its own old times.

        Args:
            samples: of the second.
            said: what the line's controls have said in it; goes to the alarm list.
        """
        samples = self.clock.stamped(samples)
        now_ns = self._now_ns()
        async with self._turn:
            await self._write((sample, now_ns) for sample in samples)
            if self._features.archive is not None:
                self._features.archive.keep(samples, now_ns)
            if self._conditions is not None:
                await self._conditions.judge(samples, said)
        for book in self._books:
            book.write(samples)

    async def show(self, samples: Sequence[Sample]) -> None:
        """Show samples that are nobody's measurement, such as that a node waits for its first one."""
        now_ns = self._now_ns()
        async with self._turn:
            await self._write((sample, now_ns) for sample in samples)

    async def _write(self, samples: Iterable[tuple[Sample, int]]) -> None:
        """Write samples, each with when it was served first."""
        for sample, served_ns in samples:
            self._shown[sample.column] = sample, served_ns
            for place in self.layout.places[sample.column]:
                value = data_value(place, sample.time_ns, sample.value, sample.quality, served_ns)
                # Straight to the address space: the client's way round costs several times as much.
                await self.server.write_attribute_value(place.id, value)

    async def make(self, trouble: Trouble) -> None:
        """Make the line misbehave.

        Raises:
            WrongInput: a certificate without security, or a broken connection without a relay.
        """
        if trouble.do in RELAYED:
            if self.relay is not None:
                await self.relay.make(trouble)
            elif trouble.do == "drop":
                self.drop()
            else:
                raise WrongInput(f"'{trouble.do}' needs a relay in front of the server")
            return
        match trouble.do:
            case "restart":
                await self.restart(down_s=trouble.for_s, namespaces_before=trouble.namespaces_before)
            case "skew":
                self.clock.skew(trouble.by_s)
            case "new certificate":
                await self.change_certificate()

    def drop(self) -> None:
        """Break every connection without a goodbye; clients may come back at once."""
        for transport in list(self.server.iserver.asyncio_transports):
            transport.abort()

    async def restart(self, *, down_s: float = 0.0, namespaces_before: int = 0) -> None:
        """Stop the server, and start another one at the same address, with the values of before."""
        async with self._turn:
            await self._halt()
            await asyncio.sleep(down_s)
            await self.build(namespaces_before)
            await self._write(list(self._shown.values()))
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


@contextlib.contextmanager
def _without_collecting() -> Iterator[None]:
    """Spare the search for garbage while thousands of nodes come into being that all stay."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
