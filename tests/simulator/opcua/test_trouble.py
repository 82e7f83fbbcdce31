"""A server that drops, delays, goes silent, restarts and has a wrong clock, as clients see it."""

from __future__ import annotations

import asyncio
import itertools
import time
from collections.abc import Iterator
from datetime import timedelta

import pytest
from asyncua import Client, Node, ua

from historian.errors import WrongInput
from historian.frame import NS
from simulator.opcua.places import NAMESPACE, FlatSpace
from simulator.opcua.served import Features, ServedLine
from simulator.opcua.times import moment_ns
from simulator.serving.trouble import Deed, Trouble
from tests.support.served_line import Elsewhere, node_of, served_elsewhere
from tests.support.small_line import PRESSURE, SmallLine

SPEED = 20.0


@pytest.fixture(scope="module")
def line() -> Iterator[Elsewhere]:
    with served_elsewhere(SmallLine(start_s=60), speed=SPEED, history=True, relay=True) as served_line:
        yield served_line


async def make(line: Elsewhere, do: Deed, *, for_s: float = 0.0, by_s: float = 0.0, before: int = 0) -> None:
    await line.do(line.line.make(Trouble(0.0, do, for_s, by_s, before)))


async def _stamp_ns(node: Node) -> int:
    return moment_ns((await node.read_data_value()).SourceTimestamp)


async def _lost(client: Client, node: Node) -> None:
    """Wait until the connection is gone."""
    async with asyncio.timeout(10.0):
        while True:
            try:
                await node.read_value()
            except (TimeoutError, ConnectionError, OSError):
                break
            await asyncio.sleep(0.02)
    await client.disconnect()


async def _connected(line: Elsewhere) -> tuple[Client, Node]:
    client = Client(line.serving.endpoint, timeout=2.0)
    await client.connect()
    return client, await node_of(client, PRESSURE)


async def test_a_half_open_server_says_nothing_and_then_goes_on(line: Elsewhere) -> None:
    client, node = await _connected(line)
    try:
        await make(line, "half-open", for_s=1.0)
        with pytest.raises(asyncio.TimeoutError):
            await asyncio.wait_for(node.read_value(), 0.4)
        await asyncio.sleep(0.8)
        assert isinstance(await node.read_value(), float)
    finally:
        await client.disconnect()


async def test_dropped_clients_may_come_back_at_once(line: Elsewhere) -> None:
    client, node = await _connected(line)
    await make(line, "drop")
    await _lost(client, node)
    async with Client(line.serving.endpoint) as again:
        assert isinstance(await (await node_of(again, PRESSURE)).read_value(), float)


async def test_a_server_that_refuses_is_not_there(line: Elsewhere) -> None:
    client, node = await _connected(line)
    await make(line, "refuse", for_s=0.5)
    await _lost(client, node)
    with pytest.raises(OSError):
        await Client(line.serving.endpoint).connect()
    await asyncio.sleep(0.6)
    async with Client(line.serving.endpoint) as again:
        assert isinstance(await (await node_of(again, PRESSURE)).read_value(), float)


async def test_a_delay_makes_answers_late(line: Elsewhere) -> None:
    client, node = await _connected(line)
    try:
        await make(line, "delay", for_s=1.0, by_s=0.2)
        begun_s = time.monotonic()
        await node.read_value()
        assert time.monotonic() - begun_s >= 0.4
        await asyncio.sleep(1.0)
    finally:
        await client.disconnect()


async def test_a_wrong_clock_is_wrong_for_samples_and_for_the_server(line: Elsewhere) -> None:
    client, node = await _connected(line)
    try:
        before_ns, begun = await _stamp_ns(node), time.monotonic()
        await make(line, "skew", by_s=1200.0)
        await asyncio.sleep(1.3)
        value = await node.read_data_value()
        ahead_s = (moment_ns(value.SourceTimestamp) - before_ns) / NS
        assert 1200.0 < ahead_s < 1200.0 + SPEED * (time.monotonic() - begun) + 5.0
        assert 1190.0 < moment_ns(value.ServerTimestamp) / NS - time.time() < 1201.0
        told = await client.get_node(ua.ObjectIds.Server_ServerStatus_CurrentTime).read_value()
        assert 1190.0 < moment_ns(told) / NS - time.time() < 1201.0
        await make(line, "skew", by_s=-1200.0)
        await asyncio.sleep(0.2)
        # What comes now is older than what came before, and is shown all the same.
        assert (await _stamp_ns(node) - before_ns) / NS < 200.0
    finally:
        await client.disconnect()


async def test_a_restarted_server_holds_what_it_held_and_has_missed_nothing(line: Elsewhere) -> None:
    client, node = await _connected(line)
    index = await client.get_namespace_index(NAMESPACE)
    held = await (await node_of(client, "extruder.zone.2.temp.sp")).read_data_value()
    last = await node.read_data_value()
    await make(line, "restart", for_s=0.3, before=3)
    await _lost(client, node)
    async with Client(line.serving.endpoint) as again:
        assert await again.get_namespace_index(NAMESPACE) == index + 3
        kept = await (await node_of(again, "extruder.zone.2.temp.sp")).read_data_value()
        assert (kept.Value, kept.SourceTimestamp) == (held.Value, held.SourceTimestamp)
        await asyncio.sleep(0.3)
        rows = await (await node_of(again, PRESSURE)).read_raw_history(
            last.SourceTimestamp, last.SourceTimestamp + timedelta(seconds=100), return_bounds=False
        )
        # What came due while nobody listened was published afterwards.
        stamps = [moment_ns(row.SourceTimestamp) for row in rows]
        assert len(stamps) >= 5
        assert {b - a for a, b in itertools.pairwise(stamps)} == {NS}


async def test_troubles_come_when_they_are_due() -> None:
    # Late enough for a slow client to be there before it is thrown out.
    troubles = [Trouble(0.3, "skew", by_s=5000.0), Trouble(5.0, "drop")]
    with served_elsewhere(SmallLine(), speed=10.0, troubles=troubles) as line:
        client, node = await _connected(line)
        await _lost(client, node)
        async with Client(line.serving.endpoint) as again:
            stamp_ns = await _stamp_ns(await node_of(again, PRESSURE))
            assert stamp_ns - line.serving.t0_ns > 5000 * NS


async def test_without_a_relay_connections_can_only_be_dropped() -> None:
    line = ServedLine("opc.tcp://127.0.0.1:1", [], Features(FlatSpace()))
    with pytest.raises(WrongInput, match="needs a relay"):
        await line.make(Trouble(0.0, "half-open"))
