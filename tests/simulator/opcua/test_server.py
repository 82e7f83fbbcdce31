"""A real OPC UA client on a real server: values, source times, units, speed, ledger, clean stop."""

from __future__ import annotations

import asyncio
import math
import os
import signal
import socket
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from asyncua import Client, ua
from asyncua.common.subscription import DataChangeNotif

from historian.errors import OutsideWorldAway, StoreReadOnly, WrongInput
from historian.frame import NS
from historian.quality import GOOD, LAST_USABLE, SENSOR_FAILURE
from simulator.opcua.other_units import UNITS, Units, shown_unit
from simulator.opcua.places import FlatSpace
from simulator.opcua.served import Features, ServedLine
from simulator.opcua.server import NAMESPACE, serve
from simulator.opcua.times import moment_ns
from simulator.published import Sample
from simulator.scenarios.scenario import Scenario
from simulator.serving.feed import ScenarioFeed
from simulator.serving.ledger import read_ledger
from simulator.serving.serving import Serving
from simulator.serving.trouble import Trouble
from tests.support.ports import free_port
from tests.support.served_line import Elsewhere, node_of, served, served_elsewhere
from tests.support.small_line import PRESSURE, TAGS, SmallLine

T0_NS = 1_900_000_000 * NS
WRONG = {
    "filter.outlet.pressure.pv": (81.5, SENSOR_FAILURE),
    "filter.wiper.state": (math.nan, SENSOR_FAILURE),
    "line.power.pv": (55.0, LAST_USABLE),
}
EXPECTED_UNITS = {
    "filter.inlet.pressure.pv": (4342098, "bar"),
    "filter.wiper.state": (4404786, "1"),
    "line.power.pv": (4937556, "kW"),
}
TYPES = {
    "filter.inlet.pressure.pv": ua.VariantType.Double,
    "filter.wiper.state": ua.VariantType.Int32,
    "filter.wiper.park.state": ua.VariantType.Boolean,
    "product.scale.total": ua.VariantType.Double,
}
Note = tuple[str, int, float | None, int]


@dataclass(frozen=True, slots=True)
class Line:
    served: Elsewhere
    ledger: Path

    @property
    def endpoint(self) -> str:
        return self.served.serving.endpoint


@pytest.fixture(scope="module")
def line(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Line]:
    """One line for the module: twenty seconds a second, some of it bad, some of it late."""
    ledger = tmp_path_factory.mktemp("line") / "ledger.csv"
    feed = SmallLine(start_s=600, held="filter", wrong=WRONG)
    with served_elsewhere(feed, speed=20.0, history=True, ledger=ledger) as served_line:
        yield Line(served_line, ledger)


class _Heard:
    """What a subscription hears, in order."""

    def __init__(self) -> None:
        self.notes: list[Note] = []

    def datachange_notification(self, node: Any, _value: object, data: DataChangeNotif) -> None:
        self.notes.append(_note(node.nodeid.Identifier, data.monitored_item.Value))


def _note(path: str, value: ua.DataValue) -> Note:
    number = None if value.Value is None or value.Value.Value is None else float(value.Value.Value)
    return path, moment_ns(value.SourceTimestamp), number, value.StatusCode.value


def _expected(sample: Sample) -> Note:
    bad = sample.quality & 0x8000_0000
    return sample.path, sample.time_ns, None if bad else sample.value, sample.quality


async def test_a_client_reads_values_source_times_types_and_units(line: Line) -> None:
    async with Client(line.endpoint) as client:
        index = await client.get_namespace_index(NAMESPACE)
        folder = client.get_node(ua.NodeId("simulated-line", index))
        children = await folder.get_children(nodeclassmask=ua.NodeClass.Variable)
        assert [c.nodeid.Identifier for c in children] == [t.path for t in TAGS]
        for path, kind in TYPES.items():
            assert await (await node_of(client, path)).read_data_type_as_variant_type() is kind
        for path, expected in EXPECTED_UNITS.items():
            unit = await (await (await node_of(client, path)).get_child("0:EngineeringUnits")).read_value()
            assert (unit.UnitId, unit.DisplayName.Text) == expected
        value = await (await node_of(client, "extruder.zone.2.temp.pv")).read_data_value()
        second, rest = divmod(moment_ns(value.SourceTimestamp) - T0_NS, NS)
        assert rest == 0
        assert value.Value.Value == 185.0 + 0.1 * math.sin(second)
        assert abs(value.ServerTimestamp - datetime.now(UTC)) < timedelta(seconds=10)
        # What holds keeps the time at which it was last published.
        held = await (await node_of(client, "extruder.zone.2.temp.sp")).read_data_value()
        assert (moment_ns(held.SourceTimestamp), held.Value.Value) == (T0_NS + 600 * NS, 185.0)
        told = await client.get_node(ua.ObjectIds.Server_ServerStatus_CurrentTime).read_value()
        assert abs(told - datetime.now(UTC)) < timedelta(seconds=5)


async def test_every_published_sample_arrives_good_bad_or_late(line: Line) -> None:
    heard = _Heard()
    async with Client(line.endpoint) as client:
        subscription = await client.create_subscription(50, heard)
        nodes = [await node_of(client, tag.path) for tag in TAGS]
        await subscription.subscribe_data_change(nodes, queuesize=1000)
        values = [await node.read_data_value(raise_on_bad_status=False) for node in nodes]
        begun_ns = max(moment_ns(value.SourceTimestamp) for value in values)
        await asyncio.sleep(4.5)
        published = list(read_ledger(line.ledger))
        await asyncio.sleep(0.3)
        remembered = set()
        for tag, node in zip(TAGS, nodes, strict=True):
            first = datetime.fromtimestamp(T0_NS // NS, UTC)
            rows = await node.read_raw_history(first, None, numvalues=100_000, return_bounds=False)
            remembered |= {_note(tag.path, row) for row in rows}
    # In history: each of them, whatever its quality and however late.
    assert {_expected(s) for s in published} <= remembered
    assert remembered <= {_expected(s) for s in read_ledger(line.ledger)}
    # By subscription: each that differs from the one before, with its own time; held back ones too.
    told = set(heard.notes)
    window = [s for s in published if s.time_ns > begun_ns + NS and s.changed]
    assert len(window) > 50
    assert {_expected(s) for s in window} <= told
    assert {n[3] for n in told} >= {GOOD, SENSOR_FAILURE, LAST_USABLE}
    _check_that_some_came_late(heard.notes)


def _check_that_some_came_late(notes: list[Note]) -> None:
    """Filter samples ten seconds old came after newer ones of the extruder, and in their own order."""
    newest = 0
    late = 0
    for path, time_ns, _, _ in notes:
        if path == "extruder.zone.2.temp.pv":
            newest = max(newest, time_ns)
        elif path == PRESSURE:
            late += newest - time_ns >= 5 * NS
    assert late >= 4
    times = [t for p, t, _, _ in notes if p == PRESSURE]
    assert times == sorted(times)


async def test_in_real_time_stamps_are_of_now_it_costs_little_and_a_signal_stops_it() -> None:
    told: asyncio.Future[Serving] = asyncio.get_running_loop().create_future()
    feed, endpoint = SmallLine(start_s=300, t0_ns=None), f"opc.tcp://127.0.0.1:{free_port()}"
    task = asyncio.create_task(serve(feed, endpoint=endpoint, ready=told.set_result))
    serving = await told
    assert abs(serving.t0_ns + 300 * NS - time.time_ns()) < 2 * NS
    async with Client(serving.endpoint) as client:
        power = await node_of(client, "line.power.pv")
        ages, begun_cpu_s, begun_s = [], time.process_time(), time.monotonic()
        for _ in range(2):
            await asyncio.sleep(1.0)
            ages.append(time.time_ns() - moment_ns((await power.read_data_value()).SourceTimestamp))
        share = (time.process_time() - begun_cpu_s) / (time.monotonic() - begun_s)
    assert all(-0.05 * NS < age < 1.5 * NS for age in ages)
    assert share < 0.2
    os.kill(os.getpid(), signal.SIGTERM)
    await asyncio.wait_for(task, 10.0)


async def test_a_scenario_is_served_as_its_recorder_shows_it(trial_day: Scenario, tmp_path: Path) -> None:
    ledger = tmp_path / "ledger.csv"
    feed = ScenarioFeed(trial_day, start_s=60, t0_ns=T0_NS)
    async with served(feed, speed=20.0, ledger=ledger) as serving, Client(serving.endpoint) as client:
        await asyncio.sleep(0.5)
        node = await node_of(client, "filter.inlet.pressure.pv")
        seen = _note("filter.inlet.pressure.pv", await node.read_data_value())
    assert seen in {_expected(s) for s in read_ledger(ledger)}
    again = ScenarioFeed(trial_day, start_s=60, t0_ns=T0_NS)
    again.begin(0)
    first = again.at(60)
    assert len(first) > 100
    assert list(read_ledger(ledger))[: len(first)] == [Sample(s.path, -1, s.time_ns, s.value, s.quality, s.changed) for s in first]  # fmt: skip


@pytest.mark.parametrize(
    ("feed", "options", "reason"),
    [
        (SmallLine(), {"speed": 101.0}, "1 to 100 times"),
        (SmallLine(), {"speed": 0.5}, "1 to 100 times"),
        (
            SmallLine(),
            {"troubles": [Trouble(1.0, "new certificate")]},
            "without --secure; it can drop, refuse",
        ),
        (SmallLine(), {"ledger": Path("one"), "history_file": Path("one")}, "name two"),
    ],
    ids=["too fast", "too slow", "no certificate", "one file"],
)
async def test_what_cannot_be_served_is_refused(
    feed: SmallLine, options: dict[str, Any], reason: str
) -> None:
    with pytest.raises(WrongInput, match=reason):
        await serve(feed, stop=asyncio.Event(), **options)


def test_a_scenario_starts_at_second_0_or_later_and_at_a_time_that_can_be_served(trial_day: Scenario) -> None:
    with pytest.raises(WrongInput, match="whole microseconds"):
        ScenarioFeed(trial_day, t0_ns=1)
    with pytest.raises(WrongInput, match="second 0 or later"):
        ScenarioFeed(trial_day, start_s=-1)


async def test_a_taken_port_and_an_impossible_ledger_are_told(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        endpoint = f"opc.tcp://127.0.0.1:{taken.getsockname()[1]}"
        for relay in (False, True):
            with pytest.raises(OutsideWorldAway, match="cannot listen there"):
                await serve(SmallLine(), endpoint=endpoint, relay=relay, stop=asyncio.Event())
    with pytest.raises(StoreReadOnly, match="ledger cannot be written"):
        await serve(SmallLine(), ledger=tmp_path / "nowhere" / "l.csv", stop=asyncio.Event())


# One of each: exact definitions, to the digits given here.
SHOWN = {
    "[psi]": (14.5037738, 0.0),
    "MPa": (0.1, 0.0),
    "kPa": (100.0, 0.0),
    "[degF]": (1.8, 32.0),
    "K": (1.0, 273.15),
    "[lb_av]": (2.20462262, 0.0),
}


async def test_other_units_are_shown_and_said() -> None:
    space = FlatSpace("other", 3)
    line = ServedLine("opc.tcp://127.0.0.1:1", TAGS, Features(space))
    await line.build()
    feed = SmallLine()
    feed.begin(0)
    await line.publish(feed.at(5))
    index = await line.server.get_namespace_index(NAMESPACE)
    for column, tag in enumerate(TAGS):
        node = line.server.get_node(ua.NodeId(tag.path, index))
        unit = (await (await node.get_child("0:EngineeringUnits")).read_value()).Description.Text
        scale, offset = SHOWN.get(unit, (1.0, 0.0))
        sample = next(s for s in SmallLine().at(5) if s.column == column)
        assert (tag.path, float(await node.read_value())) == (
            tag.path,
            pytest.approx(sample.value * scale + offset, rel=1e-7),
        )
        assert (unit in SHOWN) == (tag.unit in ("bar", "Cel", "kg"))


@pytest.mark.parametrize("units", UNITS)
def test_what_one_sensor_measures_and_is_set_to_has_one_unit(units: Units) -> None:
    measured, wanted = (t for t in TAGS if t.path.startswith("extruder.zone.2.temp"))
    drawn = [shown_unit(measured, units, seed) for seed in range(30)]
    assert drawn == [shown_unit(wanted, units, seed) for seed in range(30)]
    assert {s.unit for s in drawn} == {
        "ours": {"Cel"}, "mixed": {"Cel", "[degF]", "K"}, "other": {"[degF]", "K"},
    }[units]  # fmt: skip
