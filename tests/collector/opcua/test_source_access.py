"""A source that is not let in says why, and goes on by itself once somebody has put it right."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest
import structlog

from collector import Inbox, SourceMapping, SourceState, TagMapping, tags_of
from collector.backoff import Backoff
from collector.opcua import source as source_module
from collector.opcua.access import Access
from collector.opcua.identity import UserName
from collector.opcua.security import parse_security
from collector.opcua.source import OpcUaSource
from collector.opcua.trust import TrustFolder
from collector.secret import Secret
from historian.event import Event
from simulator.opcua.places import NAMESPACE
from tests.support.certificates import signed
from tests.support.locked_line import LOGIN, LockedLine, accept_all, give_own, locked_line
from tests.support.small_line import PRESSURE

USER, SECRET = LOGIN
EDGE = signed("edge", uri="urn:test:edge")


@pytest.fixture(autouse=True)
def prompt(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PLC_PASSWORD", SECRET)
    monkeypatch.setenv("WRONG_PASSWORD", "incorrect donkey")
    monkeypatch.setattr("collector.opcua.access.LOOK_S", 0.05)


@pytest.fixture(scope="module")
def line(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LockedLine]:
    with locked_line(tmp_path_factory.mktemp("line")) as line:
        yield line


@pytest.fixture
def access(tmp_path: Path, line: LockedLine) -> Access:
    """The server has accepted us already; we have not accepted the server."""
    login = UserName(USER, Secret("PLC_PASSWORD"))
    access = Access(parse_security("Basic256Sha256/SignAndEncrypt"), login, tmp_path / "pki", "pilot-2")
    give_own(access.folder, EDGE)
    line.trust(access)
    return access


@dataclass
class Running:
    """A source that runs, and what it has said."""

    source: OpcUaSource
    events: list[Event] = field(default_factory=list)

    async def until(self, state: SourceState, words: str = "") -> str:
        async with asyncio.timeout(20.0):
            while self.source.status.state is not state or words not in self.source.status.text:  # noqa: ASYNC110
                await asyncio.sleep(0.02)
        return self.source.status.text

    def kinds(self) -> list[str]:
        return [e.kind for e in self.events]


@asynccontextmanager
async def running(line: LockedLine, access: Access) -> AsyncIterator[Running]:
    mapping = SourceMapping(
        "filter-plc", line.endpoint, True, (TagMapping(PRESSURE, f"nsu={NAMESPACE};s={PRESSURE}", "bar"),)
    )
    tags = {t.path: replace(t, id=n) for n, t in enumerate(tags_of([mapping]), 1)}
    source = OpcUaSource(mapping, tags, access=access, backoff=Backoff(0.05, 0.1))
    inbox = Inbox([mapping], tags)
    run = Running(source)
    with structlog.testing.capture_logs() as logs:
        task = asyncio.create_task(source.run(inbox, run.events.append))
        try:
            yield run
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
    told = repr(logs) + json.dumps([[e.text, dict(e.data)] for e in run.events])
    assert SECRET not in told and "incorrect donkey" not in told and "PRIVATE KEY" not in told


async def test_it_is_refused_until_accepted_and_again_when_the_certificate_changes(
    line: LockedLine, access: Access
) -> None:
    async with running(line, access) as run:
        text = await run.until(SourceState.REFUSED)
        assert text.startswith("Nothing is collected: ") and "meltledger trust" in text
        accept_all(access.folder)
        await run.until(SourceState.CONNECTED)
        await line.renew()
        text = await run.until(SourceState.REFUSED, "CHANGED")
        accept_all(access.folder)
        await run.until(SourceState.CONNECTED)
        assert run.kinds().count("source-refused") == 2
        assert [k for k in run.kinds() if k != "source-lost"] == ["source-refused", "source-connected"] * 2


async def test_another_reason_is_told_as_well(line: LockedLine, access: Access) -> None:
    wrong = replace(access, identity=UserName(USER, Secret("WRONG_PASSWORD")))
    async with running(line, wrong) as run:
        await run.until(SourceState.REFUSED, "nobody has accepted it")
        accept_all(access.folder)
        await run.until(SourceState.REFUSED, "BadUserAccessDenied")
        assert run.kinds() == ["source-refused", "source-refused"]


async def test_a_wrong_password_is_not_tried_again_within_a_minute(line: LockedLine, access: Access) -> None:
    wrong = replace(access, identity=UserName(USER, Secret("WRONG_PASSWORD")))
    doors, knocks = line.served.line.server.iserver.user_manager, []

    class Counting:
        def get_user(self, *args: object, **named: object) -> object:
            knocks.append(named)
            return doors.get_user(*args, **named)

    accept = TrustFolder(access.folder)
    line.served.line.server.iserver.set_user_manager(Counting())
    try:
        async with running(line, wrong) as run:
            await run.until(SourceState.REFUSED, "nobody has accepted it")
            accept_all(access.folder)
            await run.until(SourceState.REFUSED, "BadUserAccessDenied")
            accept.forget(accept.accepted()[0].certificate)
            await asyncio.sleep(0.5)
            assert len(knocks) == 1
    finally:
        line.served.line.server.iserver.set_user_manager(doors)
    assert source_module._REFUSED_WAIT_S >= 60.0


async def test_what_expires_soon_is_said(line: LockedLine, access: Access, tmp_path: Path) -> None:
    old = replace(access, folder=tmp_path / "old")
    give_own(old.folder, signed("edge", uri="urn:edge", to_day=20))
    line.trust(old)
    async with running(line, old) as run:
        await run.until(SourceState.REFUSED)
        accept_all(old.folder)
        await run.until(SourceState.CONNECTED)
        async with asyncio.timeout(20.0):
            while "certificate-expires" not in run.kinds():  # noqa: ASYNC110
                await asyncio.sleep(0.02)
        (event,) = [e for e in run.events if e.kind == "certificate-expires"]
        assert "our own certificate" in event.text and "expires on 20" in event.text


async def test_without_security_a_password_still_goes_to_a_trusted_server_only(
    line: LockedLine, access: Access
) -> None:
    async with running(line, replace(access, security=parse_security("None"))) as run:
        await run.until(SourceState.REFUSED, "nobody has accepted it")
        accept_all(access.folder)
        await run.until(SourceState.CONNECTED)
