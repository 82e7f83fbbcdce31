"""A server that freezes, drops, restarts and has a wrong clock, as clients see it."""

from __future__ import annotations

import asyncio
import itertools
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from asyncua import Client, Node

from historian.errors import WrongInput
from historian.frame import NS
from simulator.opcua.places import NAMESPACE
from simulator.opcua.times import moment_ns
from simulator.opcua.trouble import Trouble, load_troubles
from simulator.scenario import Scenario
from tests.support.served_line import Elsewhere, node_of, served_elsewhere

PATH = "filter.inlet.pressure.pv"


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
            await asyncio.sleep(0.05)
    await client.disconnect()


async def test_each_trouble_is_seen_and_survived(trial_day: Scenario) -> None:
    with served_elsewhere(trial_day, start_s=60, speed=5.0, history=True) as line:
        await _frozen(line)
        await _dropped(line)
        await _skewed(line)
        await _restarted(line)


async def _frozen(line: Elsewhere) -> None:
    async with Client(line.serving.endpoint, timeout=0.5) as client:
        node = await node_of(client, PATH)
        freeze: Callable[[], Any] = lambda: line.serving.line.freeze(1.5)  # noqa: E731
        line.loop.call_soon_threadsafe(freeze)
        await asyncio.sleep(0.1)
        with pytest.raises(asyncio.TimeoutError):
            await node.read_value()
        await asyncio.sleep(1.5)
        assert isinstance(await node.read_value(), float)


async def _dropped(line: Elsewhere) -> None:
    client = Client(line.serving.endpoint)
    await client.connect()
    node = await node_of(client, PATH)
    line.loop.call_soon_threadsafe(line.serving.line.drop)
    await _lost(client, node)
    async with Client(line.serving.endpoint) as again:
        assert isinstance(await (await node_of(again, PATH)).read_value(), float)


async def _skewed(line: Elsewhere) -> None:
    async with Client(line.serving.endpoint) as client:
        node = await node_of(client, PATH)
        before_ns, begun = await _stamp_ns(node), time.monotonic()
        line.loop.call_soon_threadsafe(line.serving.line.skew, 120.0)
        line.loop.call_soon_threadsafe(line.serving.line.skew, -20.0)
        await asyncio.sleep(0.8)
        ahead_s = (await _stamp_ns(node) - before_ns) / NS
        assert 100.0 < ahead_s < 100.0 + 5.0 * (time.monotonic() - begun) + 5.0


async def _restarted(line: Elsewhere) -> None:
    client = Client(line.serving.endpoint)
    await client.connect()
    index = await client.get_namespace_index(NAMESPACE)
    held = await (await node_of(client, "filter.plate.3.temp.sp")).read_data_value()
    last = await (await node_of(client, PATH)).read_data_value()
    node = await node_of(client, PATH)
    await line.do(line.serving.line.restart(down_s=0.5, namespaces_before=3))
    await _lost(client, node)
    async with Client(line.serving.endpoint) as again:
        assert await again.get_namespace_index(NAMESPACE) == index + 3
        kept = await (await node_of(again, "filter.plate.3.temp.sp")).read_data_value()
        assert (kept.Value, kept.SourceTimestamp) == (held.Value, held.SourceTimestamp)
        await asyncio.sleep(0.6)
        rows = await (await node_of(again, PATH)).read_raw_history(
            last.SourceTimestamp, None, numvalues=500, return_bounds=False
        )
        # Nothing is missing: what came due while nobody listened was published afterwards.
        stamps = [moment_ns(row.SourceTimestamp) for row in rows]
        assert len(stamps) >= 5
        assert {b - a for a, b in itertools.pairwise(stamps)} == {NS}


async def test_troubles_come_when_they_are_due(trial_day: Scenario) -> None:
    troubles = [Trouble(0.6, "drop"), Trouble(0.3, "skew", by_s=1000.0)]
    with served_elsewhere(trial_day, start_s=60, speed=10.0, troubles=troubles) as line:
        await asyncio.sleep(1.0)
        async with Client(line.serving.endpoint) as client:
            stamp_ns = await _stamp_ns(await node_of(client, PATH))
            assert stamp_ns - line.serving.t0_ns > 1060 * NS


def test_a_file_of_troubles_is_read_and_its_faults_are_told_together(tmp_path: Path) -> None:
    path = tmp_path / "trouble.toml"
    path.write_text(
        '[[trouble]]\nat_s = 5.0\ndo = "freeze"\nfor_s = 2.0\n'
        '[[trouble]]\nat_s = 9.0\ndo = "restart"\nnamespaces_before = 2\n'
    )
    assert load_troubles(path) == [
        Trouble(5.0, "freeze", for_s=2.0),
        Trouble(9.0, "restart", namespaces_before=2),
    ]
    path.write_text('[[trouble]]\nat_s = -1.0\ndo = "explode"\n')
    with pytest.raises(WrongInput, match=r"trouble\.0\.at_s.*; trouble\.0\.do"):
        load_troubles(path)
    path.write_text("[[")
    with pytest.raises(WrongInput, match="cannot be read as a file of troubles"):
        load_troubles(path)
