"""Serves a simulated line over OPC UA, in real time or faster."""

from __future__ import annotations

import asyncio
import contextlib
import logging
import signal
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import cast

from asyncua import ua
from asyncua.server.server import Server
from asyncua.ua.attribute_ids import AttributeIds

from historian.errors import OutsideWorldAway, WrongInput
from historian.frame import NS
from historian.tags import Tag, TagKind
from simulator.opcua.ledger import Ledger
from simulator.opcua.published import Publication, Sample
from simulator.opcua.units import NAMESPACE as UNITS_NAMESPACE
from simulator.opcua.units import engineering_unit
from simulator.run import Recorder, Run, published_tags
from simulator.scenario import Scenario

NAMESPACE = "urn:meltledger:simulated-line"
MAX_SPEED = 20.0

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_TYPES: Mapping[TagKind, ua.VariantType] = {
    TagKind.ANALOG: ua.VariantType.Double,
    TagKind.STEP: ua.VariantType.Double,
    TagKind.CODE: ua.VariantType.Int32,
    TagKind.BOOLEAN: ua.VariantType.Boolean,
}
_CASTS: Mapping[ua.VariantType, Callable[[float], float | int | bool]] = {
    ua.VariantType.Double: float,
    ua.VariantType.Int32: int,
    ua.VariantType.Boolean: bool,
}


@dataclass(frozen=True, slots=True)
class Serving:
    """What is being served, told once it is reachable.

    Attributes:
        endpoint: where.
        t0_ns: source time of the scenario's second 0, UTC nanoseconds.
        start_s: the first second published.
        tags: what is published.
    """

    endpoint: str
    t0_ns: int
    start_s: int
    tags: tuple[Tag, ...]


async def serve(
    scenario: Scenario,
    *,
    endpoint: str = "opc.tcp://127.0.0.1:4840",
    speed: float = 1.0,
    start_s: int = 0,
    t0_ns: int | None = None,
    aux_channels: int = 0,
    ledger: Path | None = None,
    stop: asyncio.Event | None = None,
    ready: Callable[[Serving], None] | None = None,
) -> None:
    """Serve the line until stopped; it goes on after the scenario's duration.

    Every simulated second is published, at any speed; its samples carry the source time t0 + second.

    Args:
        speed: simulated seconds a second, 1–20.
        start_s: second to start at; the plant gets there first, unsampled, on the same trajectory.
        t0_ns: source time of second 0, whole microseconds; None: such that ``start_s`` is now.
        aux_channels: made-up channels beside the line's, for a load.
        ledger: file that keeps each published sample.
        stop: ends the serving; None: SIGTERM and SIGINT do.
        ready: called once clients can connect.

    Raises:
        WrongInput: a speed, start or time out of range.
        OutsideWorldAway: the endpoint cannot be listened on.
    """
    _check(speed, start_s, t0_ns)
    run = Run(scenario)
    # Blocks for about a second where the start is hours in: nobody is connected yet.
    run.advance(start_s)
    recorder = Recorder(run, aux_channels=aux_channels)
    tags = published_tags(scenario, aux_channels=aux_channels)
    with contextlib.ExitStack() as stack:
        book = stack.enter_context(Ledger(ledger)) if ledger is not None else None
        if stop is None:
            stop = stack.enter_context(_stopped_by_signal())
        server, nodes = await _built(endpoint, tags)
        start_ns, begun = time.time_ns() // 1_000_000 * 1_000_000, time.monotonic()
        zero_ns = start_ns - start_s * NS if t0_ns is None else t0_ns
        publication = Publication(recorder, zero_ns)
        await _publish(server, nodes, publication.at(start_s), book)
        await _listen(server, endpoint)
        try:
            if ready is not None:
                ready(Serving(endpoint, zero_ns, start_s, tuple(tags)))
            await _go_on(server, nodes, publication, _Pace(start_s, begun, speed), stop, book)
        finally:
            await server.stop()


def _check(speed: float, start_s: int, t0_ns: int | None) -> None:
    if not 1.0 <= speed <= MAX_SPEED:
        raise WrongInput(f"speed {speed:g}: the simulated line runs at 1 to {MAX_SPEED:g} times real time")
    if start_s < 0:
        raise WrongInput(f"start at {start_s} s: a scenario starts at second 0 or later")
    if t0_ns is not None and t0_ns % 1000:
        raise WrongInput("t0_ns must be whole microseconds: the server's time stamps are no finer")


@contextlib.contextmanager
def _stopped_by_signal() -> Iterator[asyncio.Event]:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    try:
        yield stop
    finally:
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.remove_signal_handler(number)


@dataclass(frozen=True, slots=True)
class _Node:
    """Where a signal is written, and as what."""

    id: ua.NodeId
    type: ua.VariantType
    cast: Callable[[float], float | int | bool]


async def _built(endpoint: str, tags: list[Tag]) -> tuple[Server, list[_Node]]:
    """A server with one flat folder of variables, not yet listening."""
    # The library tells of every connection, and warns of missing security: a simulated line has none.
    logging.getLogger("asyncua").setLevel(logging.ERROR)
    server = Server()
    await server.init()
    server.set_endpoint(endpoint)
    server.set_server_name("Simulated line")
    await server.set_application_uri("urn:meltledger:simulated-line:server")
    server.set_security_policy([ua.SecurityPolicyType.NoSecurity])
    index = await server.register_namespace(NAMESPACE)
    folder = await server.nodes.objects.add_folder(
        _node_id("simulated-line", index), ua.QualifiedName("SimulatedLine", index)
    )
    nodes = []
    for tag in tags:
        kind = _TYPES[tag.kind]
        node = _Node(_node_id(tag.path, index), kind, _CASTS[kind])
        variable = await folder.add_variable(
            node.id, ua.QualifiedName(tag.path, index), ua.Variant(node.cast(0.0), kind)
        )
        await variable.write_attribute(
            AttributeIds.Description, ua.DataValue(ua.Variant(ua.LocalizedText(tag.text)))
        )
        await variable.add_property(
            _node_id(f"{tag.path}/EngineeringUnits", index),
            ua.QualifiedName("EngineeringUnits", 0),
            _unit_of(tag),
        )
        nodes.append(node)
    return server, nodes


def _node_id(name: str, index: int) -> ua.NodeId:
    return ua.NodeId(ua.String(name), ua.Int16(index))


def _unit_of(tag: Tag) -> ua.EUInformation:
    number, text = engineering_unit(tag.unit)
    return ua.EUInformation(
        NamespaceUri=UNITS_NAMESPACE,
        UnitId=number,
        DisplayName=ua.LocalizedText(text),
        Description=ua.LocalizedText(tag.unit),
    )


async def _listen(server: Server, endpoint: str) -> None:
    try:
        await server.start()
    except OSError as error:
        raise OutsideWorldAway(f"{endpoint}: cannot listen there ({error}); name another endpoint") from error


@dataclass(frozen=True, slots=True)
class _Pace:
    """When each second is due: ``start_s`` was published at ``begun_s`` of the monotonic clock."""

    start_s: int
    begun_s: float
    speed: float

    def due_s(self, second: int) -> float:
        return self.begun_s + (second - self.start_s) / self.speed


async def _go_on(
    server: Server,
    nodes: list[_Node],
    publication: Publication,
    pace: _Pace,
    stop: asyncio.Event,
    book: Ledger | None,
) -> None:
    """Publish second after second; a late one is made up for, so that the pace does not drift."""
    second = pace.start_s
    while not stop.is_set():
        second += 1
        due_in_s = pace.due_s(second) - time.monotonic()
        # Even when late: give the server its turn.
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(stop.wait(), max(0.0, due_in_s))
        if stop.is_set():
            return
        await _publish(server, nodes, publication.at(second), book)


async def _publish(server: Server, nodes: list[_Node], samples: list[Sample], book: Ledger | None) -> None:
    now = cast("ua.DateTime", datetime.now(UTC))
    if not samples:
        return
    source_time = cast("ua.DateTime", _EPOCH + timedelta(microseconds=samples[0].time_ns // 1000))
    for sample in samples:
        node = nodes[sample.column]
        value = ua.DataValue(
            ua.Variant(node.cast(sample.value), node.type),
            ua.StatusCode(ua.UInt32(sample.quality)),
            SourceTimestamp=source_time,
            ServerTimestamp=now,
        )
        # Straight to the address space: the client's way round costs several times as much.
        await server.write_attribute_value(node.id, value)
    if book is not None:
        book.write(samples)
