"""The machine's own alarms against a real server: heard once each, over losses and restarts."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from typing import Any

import pytest
from asyncua import ua
from asyncua.ua.object_ids import ObjectIds

from collector import WallClock
from collector.machine_alarms import GONE, MachineAlarm
from collector.opcua import conditions
from collector.opcua.conditions import Conditions
from collector.opcua.link import Link
from historian.event import Event
from tests.support.alarm_server import URI, AlarmServer, until

REFRESH = ObjectIds.ConditionType_ConditionRefresh


@pytest.fixture(autouse=True)
def _soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(conditions, "ASK_AGAIN_S", 0.05)


@pytest.fixture(scope="module")
def server() -> Iterator[AlarmServer]:
    """One for the tests that leave nothing standing; starting one takes seconds."""
    server = AlarmServer()
    server.start()
    yield server
    server.stop()


class Heard:
    """What was told, in order."""

    def __init__(self, **options: Any) -> None:
        self.events: list[Event] = []
        self.conditions = Conditions("press", WallClock(), **options)

    @asynccontextmanager
    async def at(self, endpoint: str) -> AsyncIterator[None]:
        async with Link.opened(endpoint) as link, self.conditions.heard(link, self.events.append):
            yield

    def changes(self, name: str) -> list[tuple[str, ...]]:
        return [tuple(e.data["changes"]) for e in self.events if e.data.get("name") == name]

    def kinds(self) -> list[str]:
        return [e.kind for e in self.events]


async def over(server: AlarmServer, *names: str) -> None:
    """Let alarms stand no more."""
    for name in names:
        await server.tell(name, active=False, acked=True)


async def test_every_change_of_an_alarm_is_told_once_with_the_machines_own_severity(
    server: AlarmServer,
) -> None:
    heard = Heard()
    async with heard.at(server.endpoint):
        number = await server.tell("PressureHigh", active=True, severity=713)
        await server.tell(
            "PressureHigh", active=True, acked=True, severity=713, Comment=ua.LocalizedText("on it")
        )
        await server.tell("PressureHigh", active=False, acked=True, severity=713)
        await until(lambda: len(heard.changes("PressureHigh")) == 3)
        assert heard.conditions.standing == ()
    assert heard.changes("PressureHigh") == [("came",), ("acknowledged", "commented"), ("returned",)]
    first = heard.events[0]
    assert heard.kinds() == ["machine-alarm"] * 3
    assert first.kind == "machine-alarm"
    assert first.data["condition"] == f"nsu={URI};s=PressureHigh"
    assert first.data["severity"] == 713
    assert first.data["event_id"] == number.hex()
    assert first.data["alarm_class"] == "Process"
    assert abs(first.time_ns - first.data["time_ns"]) < 20e9
    assert "on it" in heard.events[1].text


async def test_subtypes_are_heard_and_what_the_machine_does_with_an_alarm(server: AlarmServer) -> None:
    heard = Heard()
    async with heard.at(server.endpoint):
        kind = ObjectIds.ExclusiveLevelAlarmType
        unshelved, shelved = (ua.NodeId(ua.Int32(i)) for i in (2930, 2929))
        await server.tell("Level", active=True, kind=kind, ShelvingState__CurrentState__Id=unshelved)
        await server.tell("Level", active=True, kind=kind, ShelvingState__CurrentState__Id=shelved)
        await server.tell("Level", active=True, kind=kind, SuppressedState__Id=True)
        await server.tell("Level", active=True, kind=kind, acked=True, ConfirmedState__Id=False)
        await server.tell("Level", active=True, kind=kind, acked=True, EnabledState__Id=False)
        await until(lambda: len(heard.changes("Level")) == 5)
        await over(server, "Level")
    assert heard.changes("Level")[:5] == [
        ("came",), ("shelved",), ("suppressed",), ("acknowledged", "to be confirmed again"), ("disabled",),
    ]  # fmt: skip


async def test_what_stood_before_the_connection_is_told_by_the_refresh_and_nothing_else_is_called(
    server: AlarmServer,
) -> None:
    await server.tell("A", active=True)
    await server.tell("B", active=True)
    await over(server, "B")
    server.called.clear()
    heard = Heard()
    async with heard.at(server.endpoint):
        await until(lambda: heard.changes("A"))
        await server.say("", 100, ObjectIds.RefreshRequiredEventType)
        await until(lambda: server.called.count(REFRESH) == 2)
        await server.tell("C", active=True)
        await until(lambda: heard.changes("C"))
        assert (heard.changes("A"), heard.changes("B")) == ([("came",)], [])
        await over(server, "A", "C")
    assert set(server.called) == {REFRESH}


async def test_a_loss_makes_the_standing_ones_unknown_and_the_refresh_closes_what_went() -> None:
    server = AlarmServer()
    server.start()
    heard = Heard()
    async with heard.at(server.endpoint):
        await server.tell("Went", active=True)
        await server.tell("Stays", active=True)
        await until(lambda: len(heard.conditions.standing) == 2)
        server.stop()
    assert heard.kinds().count("machine-alarms-unknown") == 1
    assert "Went, Stays" in heard.events[-1].text
    server.stop()
    server.namespaces = ["urn:test:other", URI]
    server.start()
    await server.tell("Stays", active=True)
    async with heard.at(server.endpoint):
        await until(lambda: len(heard.changes("Went")) == 2)
        assert [a.name for a in heard.conditions.standing] == ["Stays"]
    server.stop()
    assert heard.changes("Went") == [("came",), (GONE,)]
    assert {e.data["condition"] for e in heard.events if e.data.get("name") == "Stays"} == {
        f"nsu={URI};s=Stays"
    }


async def test_what_the_journal_knows_from_before_a_restart_is_not_told_again(server: AlarmServer) -> None:
    await server.tell("Known", active=True)
    first = Heard()
    async with first.at(server.endpoint):
        await until(lambda: first.changes("Known"))
    kept = MachineAlarm.from_json(first.events[0].data)
    again = Heard(
        standing=[kept, MachineAlarm.from_json({**first.events[0].data, "condition": "s=old", "name": "Old"})]
    )
    async with again.at(server.endpoint):
        await until(lambda: again.changes("Old"))
        await server.tell("Known", active=False)
        await until(lambda: again.changes("Known"))
        await over(server, "Known")
    assert again.changes("Old") == [(GONE,)]
    assert again.changes("Known")[0] == ("returned",)


async def test_plain_events_are_told_from_the_asked_severity_on(server: AlarmServer) -> None:
    heard, deaf = Heard(events_above=500), Heard()
    async with heard.at(server.endpoint), deaf.at(server.endpoint):
        await server.say("door opened", 499)
        await server.say("pump restarted", 500)
        await server.tell("A", active=True)
        await until(lambda: heard.changes("A") and deaf.changes("A"))
        await over(server, "A")
    assert heard.kinds()[:2] == ["machine-event", "machine-alarm"]
    assert "pump restarted" in heard.events[0].text
    assert "machine-event" not in deaf.kinds()


async def test_a_subscription_that_ended_or_fell_silent_is_made_anew_beside_the_samples(
    server: AlarmServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    heard = Heard()
    server.called.clear()
    async with heard.at(server.endpoint):
        await until(lambda: server.called.count(REFRESH) == 1)
        ended = ua.StatusChangeNotification(Status=ua.StatusCode(ua.UInt32(ua.StatusCodes.BadTimeout)))
        heard.conditions._take(
            ua.PublishResult(
                SubscriptionId=heard.conditions._subscription,
                NotificationMessage=ua.NotificationMessage(NotificationData=[ended]),
            )
        )
        await until(lambda: server.called.count(REFRESH) == 2)
        # The subscription that was given up tells of it as well: it is one change.
        await server.tell("Twice", active=True)
        await until(lambda: heard.changes("Twice"))
        monkeypatch.setattr(heard.conditions, "_silent_s", 0.01)
        heard.conditions._wanted.set()
        await until(lambda: server.called.count(REFRESH) >= 4)
        await over(server, "Twice")
        await until(lambda: len(heard.changes("Twice")) == 2)
    assert heard.changes("Twice") == [("came",), ("returned", "acknowledged")]


async def test_a_server_without_alarms_or_refresh_is_none_the_worse() -> None:
    server = AlarmServer(refreshes=False, speaks=False)
    server.start()
    heard = Heard()
    async with Link.opened(server.endpoint) as link:
        async with heard.conditions.heard(link, heard.events.append):
            await server.tell("A", active=True)
        assert await link.server_time_ns() > 0
        await server.let_speak()
        async with heard.conditions.heard(link, heard.events.append):
            await server.tell("B", active=True)
            await until(lambda: heard.changes("B"))
        async with heard.conditions.heard(link, heard.events.append):
            await until(lambda: "machine-alarms-unsure" in heard.kinds())
        assert await link.server_time_ns() > 0
    server.stop()
    assert (heard.changes("A"), heard.changes("B")) == ([], [("came",)])
    assert heard.kinds() == [
        "machine-alarm", "machine-alarms-unknown", "machine-alarms-unsure", "machine-alarms-unknown",
    ]  # fmt: skip
