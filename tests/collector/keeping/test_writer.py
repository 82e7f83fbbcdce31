"""Durable before visible: what is judged is on disk, and what the disk refuses waits in order."""

from __future__ import annotations

import asyncio
import math
import threading
import time
from collections.abc import AsyncIterator, Callable, Iterable, Sequence
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from collector import HEARTBEAT, Inbox, SourceMapping, TagMapping, WallClock, Writer, tags_of
from collector.columns import Columns
from historian import EmbeddedStore, Event, Frame, MeltledgerError, Sample, StoreFull, Tag
from tests.collector.conftest import Judged

MAPPING = SourceMapping("plc", "opc.tcp://x", False, (TagMapping("own.a.pv", "i=1", "1"),))


class FakeStore:
    """A store in memory that fails or hangs on demand."""

    def __init__(self) -> None:
        self.kept: list[Frame] = []
        self.error: MeltledgerError | None = None
        self.tries = 0
        self.hang = threading.Event()
        self.hang.set()

    def register(self, tags: Iterable[Tag]) -> dict[str, Tag]:
        self._tags = {
            t.path: Tag(t.path, t.unit, t.kind, source=t.source, id=n)
            for n, t in enumerate([*getattr(self, "_tags", {}).values(), *tags], 1)
        }
        return self._tags

    def latest(self, paths: Sequence[str] | None = None) -> dict[str, Sample]:
        return {}

    def append(self, *frames: Frame) -> int:
        self.tries += 1
        self.hang.wait()
        if self.error is not None:
            raise self.error
        self.kept += frames
        return len(self.kept)

    def frames(self, after: int = 0) -> Iterable[tuple[int, Frame]]:
        return enumerate(self.kept[after:], after + 1)


class Running:
    """A writer at work."""

    def __init__(self, store: FakeStore | EmbeddedStore, *, limit: int = 1000) -> None:
        tags = store.register(tags_of([MAPPING]))
        self.tag = tags["own.a.pv"].id
        self.inbox = Inbox([MAPPING], tags)
        self.judge = Judged()
        self.events: list[Event] = []
        self.writer = Writer(
            store,  # type: ignore[arg-type]
            self.inbox,
            self.judge,
            WallClock(),
            self.events.append,
            flush_s=0.02,
            limit=limit,
        )

    def put_columns(self, value: float, receipt: Callable[[], None]) -> None:
        columns = Columns.of([self.tag], [time.time_ns()], [value], [0])
        self.inbox.put_columns(
            "plc", columns.tag, columns.time_ns, columns.value, columns.quality, receipt=receipt
        )

    def put(self, value: float) -> None:
        self.inbox.put("plc", self.tag, time.time_ns(), value, 0)

    async def until(self, true: Callable[[], bool]) -> None:
        async with asyncio.timeout(15):
            while not true():  # noqa: ASYNC110  (a store cannot wake a test)
                await asyncio.sleep(0.01)

    def judged(self) -> list[float]:
        return [v for _, f in self.judge.fed if f.tag[0] == self.tag for v in f.value.tolist()]


@asynccontextmanager
async def writing(running: Running) -> AsyncIterator[Running]:
    task = asyncio.create_task(running.writer.run())
    try:
        yield running
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def test_stored_then_judged_then_advanced() -> None:
    store = FakeStore()
    async with writing(Running(store)) as w:
        for k in range(5):
            w.put(float(k))
            await asyncio.sleep(0.03)
        await w.until(lambda: w.judged() == [0.0, 1.0, 2.0, 3.0, 4.0])
    assert [seq for seq, _ in w.judge.fed] == list(range(1, len(store.kept) + 1))
    assert [f for _, f in w.judge.fed] == store.kept
    assert w.judge.advanced == sorted(w.judge.advanced)


async def test_a_receipt_comes_on_the_loop_after_the_store_has_it() -> None:
    store = FakeStore()
    receipted: list[tuple[str, int]] = []
    async with writing(Running(store)) as w:
        store.error = StoreFull("full")
        w.put_columns(1.0, lambda: receipted.append((threading.current_thread().name, len(store.kept))))
        await w.until(lambda: store.tries > 1)
        assert receipted == []
        store.error = None
        await w.until(lambda: bool(receipted))
    ((thread, kept),) = receipted
    assert thread == threading.current_thread().name
    assert any(1.0 in f.value for f in store.kept[:kept] if f.tag[0] == w.tag)


async def test_who_is_in_a_hurry_does_not_wait_for_the_flush() -> None:
    store = FakeStore()
    running = Running(store)
    running.writer._flush_s = 3600.0
    receipted: list[int] = []
    async with writing(running) as w:
        await w.until(lambda: len(store.kept) > 0)
        w.put_columns(1.0, lambda: receipted.append(1))
        await asyncio.to_thread(w.inbox.hurry)
        await w.until(lambda: bool(receipted))


async def test_the_heartbeat_says_running_and_at_the_end_stopped(tmp_path: Path) -> None:
    store = EmbeddedStore.open(tmp_path)
    async with writing(Running(store)) as w:
        await w.until(lambda: len(w.judge.fed) >= 3)
        w.put(7.0)
    beats = store.read([HEARTBEAT.path], 0, 2**62)[HEARTBEAT.path]
    assert beats.value.tolist() == [1.0] * (len(beats) - 1) + [0.0]
    assert len(beats) >= 4
    # What came last is there too.
    assert store.read(["own.a.pv"], 0, 2**62)["own.a.pv"].value.tolist() == [7.0]
    store.close()


async def test_a_run_that_was_killed_shows_as_a_gap_in_the_heartbeat(tmp_path: Path) -> None:
    store = EmbeddedStore.open(tmp_path)
    number = store.register([HEARTBEAT])[HEARTBEAT.path].id
    store.append(Frame.of([number], [1000], [1.0], [0], arrival_ns=1000))
    async with writing(Running(store)) as w:
        await w.until(lambda: len(w.judge.fed) >= 2)
    beats = store.read([HEARTBEAT.path], 0, 2**62)[HEARTBEAT.path]
    assert hex(beats.quality[1]) == "0x809b0000" and beats.time_ns[1] == 1_001_000
    store.close()


async def test_a_full_disk_is_said_once_and_nothing_is_lost() -> None:
    store = FakeStore()
    async with writing(Running(store)) as w:
        w.put(1.0)
        await w.until(lambda: w.judged() == [1.0])
        advanced = len(w.judge.advanced)
        store.error = StoreFull("/data/recent.db: no space left")
        for k in range(2, 6):
            w.put(float(k))
            await asyncio.sleep(0.05)
        await w.until(lambda: bool(w.events))
        fed, seen = len(w.judge.fed), len(w.judge.advanced)
        await asyncio.sleep(0.2)
        # Judging waits: it must not see time pass that it has no samples of.
        assert (len(w.judge.fed), len(w.judge.advanced)) == (fed, seen) and seen >= advanced
        store.error = None
        await w.until(lambda: len(w.events) == 2)
        await w.until(lambda: w.judged() == [1.0, 2.0, 3.0, 4.0, 5.0])
    full, back = w.events
    assert full.kind == "disk-full" and "/data/recent.db" in full.text and "free space" in full.text
    assert back.kind == "disk-back" and back.data["held_s"] > 0
    arrivals = [f.arrival_ns for f in store.kept]
    assert arrivals == sorted(arrivals)
    assert len({a for a, f in zip(arrivals, store.kept, strict=True) if f.tag[0] == w.tag}) == 5


async def test_a_disk_that_is_full_for_too_long_loses_the_oldest_loudly() -> None:
    store = FakeStore()
    async with writing(Running(store, limit=20)) as w:
        store.error = StoreFull("/data/recent.db: no space left")
        for k in range(40):
            w.put(float(k))
            await asyncio.sleep(0.025)
        store.error = None
        await w.until(lambda: any(e.kind == "samples-dropped" for e in w.events))
        await w.until(lambda: 39.0 in w.judged())
    dropped = next(e for e in w.events if e.kind == "samples-dropped")
    judged = w.judged()
    # First the mark, then an unbroken rest.
    rest = [v for v in judged if not math.isnan(v)]
    assert math.isnan(judged[0]) and rest == [float(k) for k in range(int(rest[0]), 40)]
    assert dropped.data["samples"] >= 15


async def test_a_hanging_disk_does_not_stop_the_clock_of_arrivals() -> None:
    store = FakeStore()
    async with writing(Running(store)) as w:
        await w.until(lambda: store.tries > 0)
        store.hang.clear()
        put_ns = []
        for k in range(5):
            w.put(float(k))
            put_ns.append(time.time_ns())
            await asyncio.sleep(0.1)
        store.hang.set()
        await w.until(lambda: w.judged() == [0.0, 1.0, 2.0, 3.0, 4.0])
    arrivals = [f.arrival_ns for f in store.kept if f.tag[0] == w.tag]
    assert all(0 <= a - p < 90_000_000 for a, p in zip(arrivals, put_ns, strict=True))


async def test_a_judge_that_fails_goes_on_where_it_stood() -> None:
    store = FakeStore()
    running = Running(store)
    feed = running.judge.feed
    broken = True

    def failing(seq: int, frame: Frame) -> None:
        if broken and frame.tag[0] == running.tag:
            raise StoreFull("/data/journal.db: no space left")
        feed(seq, frame)

    running.judge.feed = failing  # type: ignore[method-assign]
    async with writing(running) as w:
        w.put(1.0)
        await w.until(lambda: bool(w.events))
        w.put(2.0)
        await w.until(lambda: sum(len(f) for f in store.kept if f.tag[0] == w.tag) == 2)
        broken = False
        await w.until(lambda: w.judged() == [1.0, 2.0])
    assert [seq for seq, _ in w.judge.fed] == list(range(1, len(w.judge.fed) + 1))
    assert [e.kind for e in w.events] == ["disk-full", "judge-back"]


async def test_frames_that_the_judge_does_not_take_are_read_back(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("collector.keeping.writer._UNJUDGED", 3)
    store = FakeStore()
    running = Running(store)
    feed = running.judge.feed
    broken = True

    def failing(seq: int, frame: Frame) -> None:
        if broken:
            raise StoreFull("/data/journal.db: no space left")
        feed(seq, frame)

    running.judge.feed = failing  # type: ignore[method-assign]
    async with writing(running) as w:
        for k in range(20):
            w.put(float(k))
            await asyncio.sleep(0.025)
        broken = False
        await w.until(lambda: w.judged() == [float(k) for k in range(20)])
        w.put(20.0)
        await w.until(lambda: w.judged()[-1] == 20.0)
    assert [seq for seq, _ in w.judge.fed] == list(range(1, len(w.judge.fed) + 1))


async def test_events_wait_for_the_sink_in_order() -> None:
    running = Running(FakeStore())
    told: list[str] = []
    broken = True

    def sink(event: Event) -> None:
        if broken:
            raise StoreFull("/data/journal.db: no space left")
        told.append(event.kind)

    running.writer._sink = sink
    async with writing(running) as w:
        for kind in ("a", "b", "c"):
            w.inbox.tell(Event(0, "plc", kind, ""))
        await asyncio.sleep(0.2)
        broken = False
        await w.until(lambda: len(told) >= 5)
    assert told[:3] == ["a", "b", "c"]
    assert told[3:5] == ["disk-full", "sink-back"]


async def test_an_error_that_is_no_fault_of_the_world_ends_the_run() -> None:
    store = FakeStore()
    running = Running(store)

    def broken(*frames: Frame) -> int:
        raise ZeroDivisionError

    store.append = broken  # type: ignore[method-assign]
    task = asyncio.create_task(running.writer.run())
    with pytest.raises((ExceptionGroup, ZeroDivisionError)):
        async with asyncio.timeout(10):
            await task
