"""Sources stop first, then the writer keeps what they left."""

from __future__ import annotations

import asyncio
import contextlib
import time
from pathlib import Path

import pytest

from collector import (
    Inbox,
    SourceMapping,
    SourceState,
    SourceStatus,
    TagMapping,
    WallClock,
    Writer,
    collect,
    tags_of,
)
from historian import EmbeddedStore, EventSink
from tests.collector.conftest import Judged

MAPPING = SourceMapping("plc", "opc.tcp://x", False, (TagMapping("own.a.pv", "i=1", "1"),))


class LastWord:
    """A source that delivers a sample when it is stopped."""

    name = "plc"
    status = SourceStatus("plc", SourceState.CONNECTED, 0)

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


async def test_a_source_that_missed_the_word_to_stop_is_told_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("collector.service.ASK_AGAIN_S", 0.05)
    store = EmbeddedStore.open(tmp_path)
    tags = store.register(tags_of([MAPPING]))
    inbox = Inbox([MAPPING], tags)
    writer = Writer(store, inbox, Judged(), WallClock(), lambda _: None, flush_s=10.0)
    task = asyncio.create_task(collect([Deaf(tags["own.a.pv"].id)], inbox, writer))
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
    task = asyncio.create_task(collect([LastWord(tags["own.a.pv"].id)], inbox, writer))
    await asyncio.sleep(0.1)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert store.read(["own.a.pv"], 0, 2**62)["own.a.pv"].value.tolist() == [42.0]
    assert writer.waiting == 0
    store.close()


async def test_a_source_that_breaks_ends_the_run(tmp_path: Path) -> None:
    store = EmbeddedStore.open(tmp_path)
    inbox = Inbox([MAPPING], store.register(tags_of([MAPPING])))
    writer = Writer(store, inbox, Judged(), WallClock(), lambda _: None)
    with pytest.raises(ExceptionGroup) as broken:
        await collect([Broken(1)], inbox, writer)
    assert broken.value.subgroup(ZeroDivisionError) is not None
    store.close()
