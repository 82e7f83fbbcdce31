"""A real OPC UA client on a real server: values, source times, units, speed, ledger, clean stop."""

from __future__ import annotations

import asyncio
import csv
import os
import signal
import socket
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from asyncua import Client, ua
from asyncua.common.subscription import DataChangeNotif

from historian.errors import OutsideWorldAway, StoreReadOnly, WrongInput
from historian.frame import NS
from simulator.opcua.server import NAMESPACE, Serving, serve
from simulator.run import Recorder, Run, published_tags
from simulator.scenario import Scenario

T0_NS = 1_900_000_000 * NS
WATCHED = "aux.channel."
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
UNITS = {
    "filter.inlet.pressure.pv": (4342098, "bar"),
    "filter.plate.1.out": (20529, "%"),
    "filter.wiper.state": (4404786, "1"),
    "doser.rate.sp": (4536627, "kg/h"),
}
TYPES = {
    "filter.plate.1.temp.pv": ua.VariantType.Double,
    "filter.wiper.state": ua.VariantType.Int32,
    "filter.wiper.park.state": ua.VariantType.Boolean,
    "filter.wipe.count.total": ua.VariantType.Double,
}


def _endpoint() -> str:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return f"opc.tcp://127.0.0.1:{probe.getsockname()[1]}"


def _ns(moment: datetime) -> int:
    return (moment - EPOCH) // timedelta(microseconds=1) * 1000


@asynccontextmanager
async def _served(scenario: Scenario, **options: Any) -> AsyncIterator[Serving]:
    stop = asyncio.Event()
    ready: asyncio.Future[Serving] = asyncio.get_running_loop().create_future()
    task = asyncio.create_task(
        serve(scenario, endpoint=_endpoint(), stop=stop, ready=ready.set_result, **options)
    )
    await asyncio.wait({task, ready}, return_when=asyncio.FIRST_COMPLETED)
    if task.done():
        task.result()
    try:
        yield ready.result()
    finally:
        stop.set()
        await task


class _Heard:
    """What a subscription hears: path → source time and value, in order."""

    def __init__(self) -> None:
        self.notes: list[tuple[str, int, float]] = []

    def datachange_notification(self, node: Any, _value: object, data: DataChangeNotif) -> None:
        value = data.monitored_item.Value
        self.notes.append((node.nodeid.Identifier, _ns(value.SourceTimestamp), float(value.Value.Value)))


async def test_a_client_reads_values_source_times_types_and_units(trial_day: Scenario) -> None:
    options: dict[str, Any] = {"start_s": 9000, "speed": 2.0, "t0_ns": T0_NS}
    async with _served(trial_day, **options) as serving, Client(serving.endpoint) as client:
        index = await client.get_namespace_index(NAMESPACE)
        await _check_values(client, index, trial_day)
        folder = client.get_node(ua.NodeId("simulated-line", index))
        children = await folder.get_children(nodeclassmask=ua.NodeClass.Variable)
        assert [c.nodeid.Identifier for c in children] == [t.path for t in published_tags(trial_day)]
        assert {path: await _unit(client, index, path) for path in UNITS} == UNITS
        for path, kind in TYPES.items():
            node = client.get_node(ua.NodeId(path, index))
            assert await node.read_data_type_as_variant_type() is kind


async def _check_values(client: Client, index: int, scenario: Scenario) -> None:
    measured = await client.get_node(ua.NodeId("filter.plate.3.temp.pv", index)).read_data_value()
    second, rest = divmod(_ns(measured.SourceTimestamp) - T0_NS, NS)
    assert rest == 0
    recorder = Recorder(Run(scenario))
    shown = recorder.record([second])[0]
    assert measured.Value.Value == shown[recorder.paths.index("filter.plate.3.temp.pv")]
    assert measured.StatusCode.is_good()
    assert abs(measured.ServerTimestamp - datetime.now(UTC)) < timedelta(seconds=10)
    # What holds keeps the time at which it was last published.
    held = await client.get_node(ua.NodeId("filter.plate.3.temp.sp", index)).read_data_value()
    assert (_ns(held.SourceTimestamp), held.Value.Value) == (T0_NS + 9000 * NS, 220.0)


async def _unit(client: Client, index: int, path: str) -> tuple[int, str]:
    unit = await (await client.get_node(ua.NodeId(path, index)).get_child("0:EngineeringUnits")).read_value()
    return unit.UnitId, unit.DisplayName.Text


async def test_at_twenty_times_every_second_arrives_as_in_the_ledger(
    trial_day: Scenario, tmp_path: Path
) -> None:
    ledger, heard = tmp_path / "ledger.csv", _Heard()
    options: dict[str, Any] = {"ledger": ledger, "aux_channels": 5, "t0_ns": T0_NS, "speed": 20.0}
    async with _served(trial_day, start_s=9000, **options) as serving, Client(serving.endpoint) as client:
        index = await client.get_namespace_index(NAMESPACE)
        subscription = await client.create_subscription(100, heard)
        nodes = [client.get_node(ua.NodeId(t.path, index)) for t in serving.tags if WATCHED in t.path]
        await subscription.subscribe_data_change(nodes, queuesize=100)
        await asyncio.sleep(3.0)
        await subscription.delete()
    seconds = [(t - T0_NS) // NS for path, t, _ in heard.notes if path == "aux.channel.1.pv"]
    assert len(seconds) > 20
    assert seconds == list(range(seconds[0], seconds[-1] + 1))
    _compare(ledger, heard, T0_NS + seconds[0] * NS, T0_NS + seconds[-1] * NS)


def _compare(ledger: Path, heard: _Heard, first_ns: int, last_ns: int) -> None:
    """What was heard was published, and what was published and changed was heard."""
    with ledger.open(encoding="utf-8") as file:
        rows = [(r["path"], int(r["time_ns"]), float(r["value"]), r["changed"]) for r in csv.DictReader(file)]
    published = {(path, at): value for path, at, value, _ in rows}
    assert all(published[path, at] == value for path, at, value in heard.notes)
    seconds = sorted({at for _, at, _, _ in rows})
    assert seconds == list(range(T0_NS + 9000 * NS, seconds[-1] + 1, NS))
    changed = {(p, at) for p, at, _, c in rows if c == "1" and WATCHED in p and first_ns < at < last_ns}
    assert len(changed) > 5 * len(seconds) / 4
    assert changed <= {(path, at) for path, at, _ in heard.notes}


async def test_in_real_time_stamps_are_of_now_it_costs_little_and_a_signal_stops_it(
    trial_day: Scenario,
) -> None:
    count = 200 - len(published_tags(trial_day))
    told: asyncio.Future[Serving] = asyncio.get_running_loop().create_future()
    task = asyncio.create_task(
        serve(trial_day, endpoint=_endpoint(), start_s=300, aux_channels=count, ready=told.set_result)
    )
    serving = await told
    assert len(serving.tags) == 200
    assert abs(serving.t0_ns + 300 * NS - time.time_ns()) < 2 * NS
    async with Client(serving.endpoint) as client:
        index = await client.get_namespace_index(NAMESPACE)
        power = client.get_node(ua.NodeId("line.power.pv", index))
        ages, begun_cpu_s, begun_s = [], time.process_time(), time.monotonic()
        for _ in range(3):
            await asyncio.sleep(1.0)
            ages.append(time.time_ns() - _ns((await power.read_data_value()).SourceTimestamp))
        share = (time.process_time() - begun_cpu_s) / (time.monotonic() - begun_s)
    assert all(-0.05 * NS < age < 1.5 * NS for age in ages)
    assert share < 0.2
    os.kill(os.getpid(), signal.SIGTERM)
    await asyncio.wait_for(task, 10.0)


def test_hours_in_it_starts_within_seconds(trial_day: Scenario) -> None:
    begun = time.process_time()
    Run(trial_day).advance(14_400)
    assert time.process_time() - begun < 4.0


@pytest.mark.parametrize(
    ("options", "reason"),
    [
        ({"speed": 21.0}, "1 to 20 times"),
        ({"speed": 0.5}, "1 to 20 times"),
        ({"start_s": -1}, "second 0 or later"),
        ({"t0_ns": 1}, "whole microseconds"),
    ],
    ids=["too fast", "too slow", "too early", "too fine"],
)
async def test_what_cannot_be_served_is_refused(
    trial_day: Scenario, options: dict[str, Any], reason: str
) -> None:
    with pytest.raises(WrongInput, match=reason):
        await serve(trial_day, stop=asyncio.Event(), **options)


async def test_a_taken_port_and_an_impossible_ledger_are_told(trial_day: Scenario, tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        endpoint = f"opc.tcp://127.0.0.1:{taken.getsockname()[1]}"
        with pytest.raises(OutsideWorldAway, match="cannot listen there"):
            await serve(trial_day, endpoint=endpoint, stop=asyncio.Event())
    with pytest.raises(StoreReadOnly, match="ledger cannot be written"):
        await serve(trial_day, ledger=tmp_path / "nowhere" / "l.csv", stop=asyncio.Event())
