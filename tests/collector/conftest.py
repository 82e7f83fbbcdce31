"""A whole collector on a real store, with its events caught."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
import structlog

from collector import Inbox, Roster, SourceMapping, WallClock, Writer, collect, newest_samples, tags_of
from collector.backoff import Backoff
from collector.opcua import OpcUaSource
from collector.opcua.items import Asking
from historian import EmbeddedStore, Event, Frame, Series


@pytest.fixture(autouse=True)
def quiet() -> Iterator[None]:
    """No log lines among the tests' own."""
    with structlog.testing.capture_logs():
        yield


@dataclass
class Judged:
    """A judge that remembers."""

    fed: list[tuple[int, Frame]] = field(default_factory=list)
    advanced: list[int] = field(default_factory=list)

    def feed(self, seq: int, frame: Frame) -> None:
        self.fed.append((seq, frame))

    def advance(self, now_ns: int) -> None:
        self.advanced.append(now_ns)


@dataclass
class Collecting:
    """A running collector of one OPC UA source."""

    store: EmbeddedStore
    source: OpcUaSource
    events: list[Event]
    judge: Judged

    def kinds(self) -> list[str]:
        return [e.kind for e in self.events]

    def event(self, kind: str) -> Event:
        return next(e for e in self.events if e.kind == kind)

    def series(self, path: str) -> Series:
        return self.store.read([path], 0, 2**62)[path]

    def good(self, path: str) -> list[tuple[int, float]]:
        s = self.series(path)
        return [(int(t), float(v)) for t, v, q in zip(s.time_ns, s.value, s.quality, strict=True) if q == 0]

    def gaps(self, path: str) -> list[int]:
        s = self.series(path)
        return [int(t) for t, v, q in zip(s.time_ns, s.value, s.quality, strict=True) if q == 0x809B0000]

    async def until(self, true: Callable[[], bool], timeout_s: float = 20.0) -> None:
        async with asyncio.timeout(timeout_s):
            while not true():  # noqa: ASYNC110  (a store cannot wake a test)
                await asyncio.sleep(0.05)


@asynccontextmanager
async def collecting(
    folder: Path, mapping: SourceMapping, asking: Asking | None = None
) -> AsyncIterator[Collecting]:
    """Collect while the block runs; afterwards the store is closed to the writer and can be read."""
    store = EmbeddedStore.open(folder)
    known = store.register(tags_of([mapping]))
    events: list[Event] = []
    judge = Judged()
    inbox = Inbox([mapping], known, newest_samples(store, [mapping]))
    writer = Writer(store, inbox, judge, WallClock(), events.append, flush_s=0.1)
    source = OpcUaSource(mapping, known, asking=asking, backoff=Backoff(0.2, 0.5))
    roster = Roster(inbox, WallClock())
    roster.start(source)
    task = asyncio.create_task(collect(roster, writer))
    reader = EmbeddedStore.open(folder, mode="read")
    try:
        yield Collecting(reader, source, events, judge)
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        reader.close()
        store.close()


def rows(frame: Frame) -> list[tuple[int, int, float, int]]:
    """A frame's samples as tuples."""
    return list(
        zip(
            frame.tag.tolist(),
            frame.time_ns.tolist(),
            frame.value.tolist(),
            frame.quality.tolist(),
            strict=True,
        )
    )


def same(a: float, b: float) -> bool:
    """Equality that lets NaN equal NaN."""
    return a == b or bool(np.isnan(a) and np.isnan(b))
