"""Sources stop first, then the writer keeps what they left."""

from __future__ import annotations

import asyncio
import contextlib
import time
from pathlib import Path

import pytest

from collector import (
    Inbox,
    Roster,
    Source,
    SourceCounts,
    SourceMapping,
    SourceState,
    SourceStatus,
    TagMapping,
    WallClock,
    Writer,
    collect,
    tags_of,
)
from collector.backoff import Backoff
from historian import EmbeddedStore, Event, EventSink
from tests.collector.conftest import Judged

MAPPING = SourceMapping("plc", "opc.tcp://x", False, (TagMapping("own.a.pv", "i=1", "1"),))


class LastWord:
    """A source that delivers a sample when it is stopped."""

    name = "plc"
    status = SourceStatus("plc", SourceState.CONNECTED, 0)
    counts = SourceCounts()

    def __init__(self, tag: int) -> None:
        self.tag = tag

    async def run(self, inbox: Inbox, sink: EventSink) -> None:
        try:
            await asyncio.Event().wait()
        finally:
            inbox.put(self.name, self.tag, time.time_ns(), 42.0, 0)


class Broken(LastWord):
    async def run(self, inbox: Inbox, sink: EventSink) -> None:
        raise ZeroDivisionError


class Deaf(LastWord):
    """A source whose first cancellation is lost on the way."""

    async def run(self, inbox: Inbox, sink: EventSink) -> None:
        with contextlib.suppress(asyncio.CancelledError):
            await asyncio.Event().wait()
        await super().run(inbox, sink)


def roster_of(inbox: Inbox, *sources: Source) -> Roster:
    roster = Roster(inbox, WallClock())
    for source in sources:
        roster.start(source)
    return roster


async def test_a_source_that_missed_the_word_to_stop_is_told_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("collector.service.ASK_AGAIN_S", 0.05)
    store = EmbeddedStore.open(tmp_path)
    tags = store.register(tags_of([MAPPING]))
    inbox = Inbox([MAPPING], tags)
    writer = Writer(store, inbox, Judged(), WallClock(), lambda _: None, flush_s=10.0)
    task = asyncio.create_task(collect(roster_of(inbox, Deaf(tags["own.a.pv"].id)), writer))
    await asyncio.sleep(0.1)
    task.cancel()
    done, _ = await asyncio.wait([task], timeout=5.0)
    assert done and task.cancelled()
    assert store.read(["own.a.pv"], 0, 2**62)["own.a.pv"].value.tolist() == [42.0]


async def test_what_a_source_leaves_at_its_end_is_kept(tmp_path: Path) -> None:
    store = EmbeddedStore.open(tmp_path)
    tags = store.register(tags_of([MAPPING]))
    inbox = Inbox([MAPPING], tags)
    writer = Writer(store, inbox, Judged(), WallClock(), lambda _: None, flush_s=10.0)
    task = asyncio.create_task(collect(roster_of(inbox, LastWord(tags["own.a.pv"].id)), writer))
    await asyncio.sleep(0.1)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert store.read(["own.a.pv"], 0, 2**62)["own.a.pv"].value.tolist() == [42.0]
    assert writer.waiting == 0
    store.close()


async def test_a_source_that_breaks_is_told_tried_again_and_touches_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("collector.service.Backoff", lambda *_: Backoff(0.01, 0.01))
    other = SourceMapping("other", "opc.tcp://y", False, (TagMapping("own.b.pv", "i=1", "1"),))
    store = EmbeddedStore.open(tmp_path)
    tags = store.register(tags_of([MAPPING, other]))
    inbox = Inbox([MAPPING, other], tags)
    events: list[Event] = []
    writer = Writer(store, inbox, Judged(), WallClock(), events.append, flush_s=0.01)
    broken, alive = Broken(tags["own.a.pv"].id), LastWord(tags["own.b.pv"].id)
    alive.name = "other"
    task = asyncio.create_task(collect(roster_of(inbox, broken, alive), writer))
    async with asyncio.timeout(20.0):
        while len(events) < 3:  # noqa: ASYNC110  (a list cannot wake a test)
            await asyncio.sleep(0.01)
    task.cancel()
    await asyncio.wait([task])
    assert {(e.kind, e.source) for e in events} == {("source-failed", "plc")}
    assert "ZeroDivisionError" in events[0].text
    assert store.read(["own.b.pv"], 0, 2**62)["own.b.pv"].value.tolist() == [42.0]
    store.close()


async def test_sources_come_and_go_while_the_writer_goes_on(tmp_path: Path) -> None:
    store = EmbeddedStore.open(tmp_path)
    tags = store.register(tags_of([MAPPING]))
    inbox = Inbox([MAPPING], tags)
    writer = Writer(store, inbox, Judged(), WallClock(), lambda _: None, flush_s=0.01)
    roster = roster_of(inbox, LastWord(tags["own.a.pv"].id))
    task = asyncio.create_task(collect(roster, writer))
    await asyncio.sleep(0.05)
    await roster.stop(["plc"])
    assert roster.sources == []
    roster.start(LastWord(tags["own.a.pv"].id))
    await asyncio.sleep(0.05)
    task.cancel()
    await asyncio.wait([task])
    assert store.read(["own.a.pv"], 0, 2**62)["own.a.pv"].value.tolist() == [42.0, 42.0]
    store.close()
