"""The machine's own alarms: when they come and go, and what a client sees of them."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from asyncua import Client, Node, ua

from historian.frame import NS
from simulator.controls.alarm_kinds import START_REFUSED
from simulator.controls.alarm_list import AlarmList
from simulator.controls.view import Message
from simulator.opcua.places import NAMESPACE
from simulator.published import Sample
from simulator.serving.serving import Serving
from tests.support.served_line import Elsewhere, served_elsewhere
from tests.support.small_line import TAGS, SmallLine

RUNNING = {
    "extruder.enable.state": 1.0,
    "extruder.head.pressure.pv": 100.0,
    "filter.inlet.pressure.pv": 90.0,
    "filter.wiper.state": 0.0,
    "filter.wiper.park.state": 1.0,
    "filter.wiper.torque.pv": 0.0,
    "extruder.zone.1.temp.pv": 200.0,
    "extruder.zone.1.temp.sp": 201.0,
    "filter.plate.1.temp.pv": 200.0,
    "filter.plate.1.temp.sp": 200.0,
    "filter.plate.1.enabled.state": 1.0,
}
ALARM = "HeaterZoneDeviation"


def _active(*stretches: tuple[int, dict[str, float]]) -> list[str]:
    """What is active at the end, after so many seconds of each."""
    machine, second = AlarmList(), 0
    for seconds, values in [(5, {}), *stretches]:
        for _ in range(seconds):
            second += 1
            machine.judge(Sample(p, 0, second * NS, v, 0, True) for p, v in {**RUNNING, **values}.items())
    return [a.kind.name for a in machine.alarms if a.active]


@pytest.mark.parametrize(
    ("stretches", "expected"),
    [
        ([(60, {})], []),
        ([(2, {"filter.inlet.pressure.pv": 131.0})], []),
        ([(3, {"filter.inlet.pressure.pv": 131.0})], ["MeltPressureHigh"]),
        ([(3, {"filter.inlet.pressure.pv": 131.0}), (9, {"filter.inlet.pressure.pv": 126.0})], ["MeltPressureHigh"]),
        ([(3, {"filter.inlet.pressure.pv": 131.0}), (1, {"filter.inlet.pressure.pv": 124.0})], []),
        ([(9, {"extruder.zone.1.temp.pv": 185.0})], []),
        ([(10, {"extruder.zone.1.temp.pv": 185.0})], [ALARM]),
        ([(10, {"filter.plate.1.temp.pv": 216.0})], [ALARM]),
        ([(10, {"filter.plate.1.temp.pv": 150.0, "filter.plate.1.enabled.state": 0.0})], []),
        ([(60, {"extruder.zone.1.temp.pv": 20.0, "extruder.enable.state": 0.0})], []),
        ([(2, {"filter.wiper.state": 3.0})], ["WiperFault"]),
        ([(2, {"filter.wiper.state": 1.0, "filter.wiper.torque.pv": 96.0})], ["WiperFault"]),
        ([(2, {"filter.wiper.park.state": 0.0})], ["WiperFault"]),
        ([(9, {"filter.wiper.park.state": 0.0, "filter.wiper.state": 1.0})], []),
        ([(5, {"extruder.enable.state": 0.0})], []),
        ([(1, {"extruder.head.pressure.pv": 201.0}), (5, {"extruder.enable.state": 0.0})], ["LineTrip"]),
        ([(1, {"extruder.head.pressure.pv": 201.0}), (5, {"extruder.enable.state": 0.0}), (1, {})], []),
    ],
)  # fmt: skip
def test_an_alarm_stands_while_its_limit_is_passed(
    stretches: list[tuple[int, dict[str, float]]], expected: list[str]
) -> None:
    assert _active(*stretches) == expected


class _Jump(SmallLine):
    """Somebody sets a zone far off what it is, again and again: two minutes off, forty seconds right."""

    def at(self, second: int) -> list[Sample]:
        samples = super().at(second)
        if second % 160 in (20, 140):
            column = next(k for k, tag in enumerate(TAGS) if tag.path == "extruder.zone.2.temp.sp")
            cel = 150.0 if second % 160 == 20 else 185.0
            samples.append(replace(samples[-1], path=TAGS[column].path, column=column, value=cel))
        return samples


class _Refusing(SmallLine):
    """Its controls refuse a start every minute or so."""

    _second = 0

    def at(self, second: int) -> list[Sample]:
        self._second = second
        return super().at(second)

    def said(self) -> list[Message]:
        if self._second % 60 != 30:
            return []
        return [Message(float(self._second), "refused", "screw", "screw not started: soak 12 of 30 min")]


@pytest.fixture(scope="module")
def line() -> Iterator[Elsewhere]:
    with served_elsewhere(_Jump(start_s=0), speed=20.0, alarms=True) as served_line:
        yield served_line


class _Heard:
    def __init__(self) -> None:
        self.events: list[Any] = []

    async def event_notification(self, event: Any) -> None:
        self.events.append(event)

    async def until(self, *, active: bool, acked: bool, name: str = ALARM) -> Any:
        """The first event of the alarm with those states."""
        async with asyncio.timeout(20.0):
            while True:
                for event in self.events:
                    state = (getattr(event, "ActiveState/Id", None), getattr(event, "AckedState/Id", None))
                    if state == (active, acked) and event.ConditionName == name:
                        return event
                await asyncio.sleep(0.05)


async def _plain(client: Client) -> Any:
    index = await client.get_namespace_index(NAMESPACE)
    return await client.get_node(ua.NodeId("alarm-list", index)).read_value()


async def _state(client: Client) -> dict[str, Any]:
    index = await client.get_namespace_index(NAMESPACE)
    node: Node = client.get_node(ua.NodeId(f"alarms/{ALARM}", index))
    assert (await node.read_type_definition()) == ua.NodeId(ua.ObjectIds.AlarmConditionType)
    names = ["ActiveState/0:Id", "AckedState/0:Id", "Retain", "Severity"]
    return {n: await (await node.get_child(f"0:{n}".split("/"))).read_value() for n in names}


async def _refresh(client: Client, subscription_id: int) -> None:
    await client.get_node(ua.ObjectIds.ConditionType).call_method(
        ua.NodeId(ua.ObjectIds.ConditionType_ConditionRefresh),
        ua.Variant(subscription_id, ua.VariantType.UInt32),
    )


async def _acknowledge(client: Client, event: Any, event_id: bytes | None = None) -> None:
    await client.get_node(event.NodeId).call_method(
        ua.NodeId(ua.ObjectIds.AcknowledgeableConditionType_Acknowledge),
        ua.Variant(event_id or event.EventId, ua.VariantType.ByteString),
        ua.LocalizedText("seen"),
    )


async def test_a_late_client_hears_of_a_standing_alarm_and_acknowledges_it(line: Elsewhere) -> None:
    async with Client(line.serving.endpoint) as early:
        assert await _plain(early) == []
        heard = _Heard()
        subscription = await early.create_subscription(50, heard)
        await subscription.subscribe_alarms_and_conditions(
            ua.ObjectIds.Server, evtypes=ua.ObjectIds.AlarmConditionType
        )
        await heard.until(active=True, acked=False)
        await _late(line.serving)
        event = await heard.until(active=False, acked=True)
        assert event.Retain is False
        assert await _plain(early) == []
        assert await _state(early) == {
            "ActiveState/0:Id": False, "AckedState/0:Id": True, "Retain": False, "Severity": 500,
        }  # fmt: skip


async def _late(serving: Serving) -> None:
    async with Client(serving.endpoint) as late:
        heard = _Heard()
        subscription = await late.create_subscription(50, heard)
        await subscription.subscribe_alarms_and_conditions(
            ua.ObjectIds.Server,
            evtypes=[
                ua.ObjectIds.AlarmConditionType,
                ua.ObjectIds.RefreshStartEventType,
                ua.ObjectIds.RefreshEndEventType,
            ],
        )
        await asyncio.sleep(0.3)
        assert heard.events == []
        await _refresh(late, subscription.subscription_id)
        event = await heard.until(active=True, acked=False)
        kinds = [e.EventType.Identifier for e in heard.events]
        assert kinds[0] == ua.ObjectIds.RefreshStartEventType
        assert (event.Severity, event.SourceName, event.Retain) == (500, "SimulatedLine", True)
        assert "extruder.zone.2" in event.Message.Text
        assert await _plain(late) == [event.Message.Text]
        assert (await _state(late))["AckedState/0:Id"] is False
        with pytest.raises(ua.uaerrors.BadEventIdUnknown):
            await _acknowledge(late, event, b"another")
        await _acknowledge(late, event)
        seen = await heard.until(active=True, acked=True)
        assert seen.Comment.Text == "seen"
        with pytest.raises(ua.uaerrors.BadConditionBranchAlreadyAcked):
            await _acknowledge(late, seen)


async def test_a_restarted_server_still_tells_of_a_standing_alarm(line: Elsewhere) -> None:
    async with Client(line.serving.endpoint) as client, asyncio.timeout(20.0):
        while not await _plain(client):  # noqa: ASYNC110  (the machine knows nothing of the test)
            await asyncio.sleep(0.05)
    await line.do(line.line.restart(namespaces_before=1))
    async with Client(line.serving.endpoint) as client:
        heard = _Heard()
        subscription = await client.create_subscription(50, heard)
        await subscription.subscribe_alarms_and_conditions(
            ua.ObjectIds.Server, evtypes=ua.ObjectIds.AlarmConditionType
        )
        await _refresh(client, subscription.subscription_id)
        # It stood when the server went; whether it still does is the line's doing.
        async with asyncio.timeout(20.0):
            while not any(getattr(e, "AckedState/Id", None) is False for e in heard.events):  # noqa: ASYNC110
                await asyncio.sleep(0.05)
        (event, *_) = [e for e in heard.events if getattr(e, "AckedState/Id", None) is False]
        assert (event.ConditionName, event.Retain) == (ALARM, True)


async def test_what_the_controls_refuse_is_an_event_and_stands_in_the_plain_list() -> None:
    with served_elsewhere(_Refusing(start_s=0), speed=20.0, alarms=True) as line:
        await _hear_of_a_refusal(line.serving.endpoint)


async def _hear_of_a_refusal(endpoint: str) -> None:
    async with Client(endpoint) as client:
        heard = _Heard()
        subscription = await client.create_subscription(50, heard)
        await subscription.subscribe_alarms_and_conditions(
            ua.ObjectIds.Server, evtypes=ua.ObjectIds.AlarmConditionType
        )
        event = await heard.until(active=True, acked=False, name=START_REFUSED)
        assert "soak 12 of 30 min" in event.Message.Text
        # The list follows the event a moment later.
        async with asyncio.timeout(20.0):
            while not any("soak 12 of 30 min" in text for text in await _plain(client)):  # noqa: ASYNC110
                await asyncio.sleep(0.05)
