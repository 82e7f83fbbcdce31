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
from simulator.scenario_file import load_scenario

T0_NS = 1_900_000_000 * NS
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


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


async def test_a_client_reads_values_with_source_time_quality_and_unit(trial_day: Scenario) -> None:
    async with (
        _served(trial_day, start_s=9000, speed=2.0, t0_ns=T0_NS) as serving,
        Client(serving.endpoint) as c,
    ):
        index = await c.get_namespace_index(NAMESPACE)
        recorder = Recorder(Run(trial_day))
        value = await c.get_node(f"ns={index};s=filter.plate.3.temp.pv").read_data_value()
        second, rest = divmod(_ns(value.SourceTimestamp) - T0_NS, NS)
        assert rest == 0
        shown = recorder.record([second])[0]
        assert value.Value.VariantType is ua.VariantType.Double
        assert value.Value.Value == shown[recorder.paths.index("filter.plate.3.temp.pv")]
        assert value.StatusCode.is_good()
        assert abs(value.ServerTimestamp - datetime.now(UTC)) < timedelta(seconds=5)
        held = await c.get_node(f"ns={index};s=filter.plate.3.temp.sp").read_data_value()
        assert (_ns(held.SourceTimestamp), held.Value.Value) == (T0_NS + 9000 * NS, 220.0)


async def test_every_tag_is_there_with_its_type_and_unit(trial_day: Scenario) -> None:
    async with _served(trial_day) as serving, Client(serving.endpoint) as client:
        index = await client.get_namespace_index(NAMESPACE)
        folder = client.get_node(f"ns={index};s=simulated-line")
        children = await folder.get_children(nodeclassmask=ua.NodeClass.Variable)
        assert [c.nodeid.Identifier for c in children] == [t.path for t in published_tags(trial_day)]
        units = {}
        for path in ("filter.inlet.pressure.pv", "filter.plate.1.out", "filter.wiper.state", "doser.rate.sp"):
            prop = await client.get_node(f"ns={index};s={path}").get_child("0:EngineeringUnits")
            unit = await prop.read_value()
            units[path] = (unit.UnitId, unit.DisplayName.Text)
        assert units == {
            "filter.inlet.pressure.pv": (4342098, "bar"),
            "filter.plate.1.out": (20529, "%"),
            "filter.wiper.state": (4404786, "1"),
            "doser.rate.sp": (4536627, "kg/h"),
        }
        kinds = {
            path: await client.get_node(f"ns={index};s={path}").read_data_type_as_variant_type()
            for path in ("filter.wiper.state", "filter.wiper.park.state", "filter.wipe.count.total")
        }
        assert list(kinds.values()) == [ua.VariantType.Int32, ua.VariantType.Boolean, ua.VariantType.Double]


async def test_at_twenty_times_every_second_arrives_and_matches_the_ledger(
    trial_day: Scenario, tmp_path: Path
) -> None:
    ledger = tmp_path / "ledger.csv"
    count = 200 - len(published_tags(trial_day))
    heard = _Heard()
    options: dict[str, Any] = {"ledger": ledger, "aux_channels": count, "t0_ns": T0_NS}
    async with _served(trial_day, speed=20.0, start_s=9000, **options) as serving:
        async with Client(serving.endpoint) as client:
            index = await client.get_namespace_index(NAMESPACE)
            subscription = await client.create_subscription(100, heard)
            nodes = [client.get_node(ua.NodeId(t.path, index)) for t in serving.tags]
            await subscription.subscribe_data_change(nodes, queuesize=100)
            begun = time.monotonic()
            await asyncio.sleep(3.0)
            took_s = time.monotonic() - begun
            await subscription.delete()
    aux = [n for n in heard.notes if n[0] == "aux.channel.1.pv"]
    seconds = [(t - T0_NS) // NS for _, t, _ in aux]
    assert seconds == list(range(seconds[0], seconds[-1] + 1))
    assert len(seconds) == pytest.approx(20.0 * took_s, rel=0.2)
    with ledger.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    published = {(r["path"], int(r["time_ns"])): float(r["value"]) for r in rows}
    assert all(published[path, at] == value for path, at, value in heard.notes)
    first, last = aux[0][1], aux[-1][1]
    changed = {
        (r["path"], int(r["time_ns"]))
        for r in rows
        if r["changed"] == "1" and first < int(r["time_ns"]) < last
    }
    assert changed <= {(path, at) for path, at, _ in heard.notes}
    assert len(changed) > 100 * len(seconds)


async def test_in_real_time_the_stamps_are_of_now(trial_day: Scenario) -> None:
    heard = _Heard()
    async with _served(trial_day, start_s=300) as serving, Client(serving.endpoint) as client:
        assert abs(serving.t0_ns + 300 * NS - time.time_ns()) < 2 * NS
        index = await client.get_namespace_index(NAMESPACE)
        subscription = await client.create_subscription(50, heard)
        await subscription.subscribe_data_change(
            client.get_node(ua.NodeId("extruder.zone.1.temp.pv", index)), queuesize=10
        )
        value = client.get_node(ua.NodeId("line.power.pv", index))
        ages = []
        for _ in range(3):
            await asyncio.sleep(1.0)
            ages.append(time.time_ns() - _ns((await value.read_data_value()).SourceTimestamp))
        assert all(-0.05 * NS < age < 1.3 * NS for age in ages)
        await subscription.delete()
    assert {path for path, _, _ in heard.notes} == {"extruder.zone.1.temp.pv"}


async def test_a_server_costs_little(trial_day: Scenario) -> None:
    count = 200 - len(published_tags(trial_day))
    async with _served(trial_day, aux_channels=count):
        begun_cpu, begun = time.process_time(), time.monotonic()
        await asyncio.sleep(3.0)
        assert (time.process_time() - begun_cpu) / (time.monotonic() - begun) < 0.2


async def test_hours_in_it_starts_within_seconds(trial_day: Scenario) -> None:
    begun = time.process_time()
    Run(trial_day).advance(14_400)
    assert time.process_time() - begun < 4.0


async def test_a_signal_stops_it() -> None:
    scenario = load_scenario("trial_day")
    told: asyncio.Future[Serving] = asyncio.get_running_loop().create_future()
    task = asyncio.create_task(serve(scenario, endpoint=_endpoint(), ready=told.set_result))
    await told
    os.kill(os.getpid(), signal.SIGTERM)
    await asyncio.wait_for(task, 5.0)


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
