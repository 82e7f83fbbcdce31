"""The collector's writer and upkeep on a disk that is full for a while, as a line runs them."""

from __future__ import annotations

import asyncio
import time
from pathlib import Path

from collector import HEARTBEAT, Inbox, SourceMapping, TagMapping, Writer, tags_of
from historian import EmbeddedStore, Event, Frame
from historian.retention import Keep
from meltledger.keeping import keep_house
from tests.historian.durability.sent import START
from tests.support.shadow import Shadow


class FastClock:
    """An hour passes in a second."""

    def __init__(self) -> None:
        self._begin = time.monotonic_ns()

    def now_ns(self) -> int:
        """UTC nanoseconds."""
        return START + 3_600 * (time.monotonic_ns() - self._begin)


class Recorder:
    """A judge that keeps what it is fed."""

    def __init__(self) -> None:
        self.fed: list[tuple[int, Frame]] = []

    def feed(self, seq: int, frame: Frame) -> None:
        """Take a frame that is on disk."""
        self.fed.append((seq, frame))

    def advance(self, now_ns: int) -> None:
        """Arrival time has come this far."""


def collecting(folder: Path, shadow: Shadow) -> None:
    """The collector's writer holds its frames and says so, and upkeep waits, until there is space again."""
    asyncio.run(_collecting(folder, shadow))


async def _collecting(folder: Path, shadow: Shadow) -> None:
    mapping = SourceMapping("plc", "opc.tcp://x", False, (TagMapping("own.a.pv", "i=1", "1"),))
    store = EmbeddedStore.open(folder)
    tags = store.register(tags_of([mapping]))
    number = tags["own.a.pv"].id
    clock, judge_, events = FastClock(), Recorder(), list[Event]()
    # A clock that runs so fast would be doubted, did nobody vouch for it.
    inbox = Inbox([mapping], tags, believed=lambda now_ns: True)
    writer = Writer(store, inbox, judge_, clock, events.append, flush_s=0.01)
    reader = EmbeddedStore.open(folder, mode="read")
    sent: list[int] = []

    def put() -> None:
        sent.append(clock.now_ns())
        inbox.put("plc", number, sent[-1], float(len(sent)), 0)

    house = keep_house(folder, "line 1", Keep(), clock, events.append, lambda: (), every_s=0.2)
    tasks = [asyncio.create_task(writer.run()), asyncio.create_task(house)]
    for _ in range(150):
        put()
        await asyncio.sleep(0.01)
    # Upkeep goes on meanwhile: what it lets go of makes no room.
    room = shadow.held()
    async with asyncio.timeout(30):
        while not any(e.kind == "disk-full" and "stored" in e.text for e in events):
            room = min(room, shadow.held())
            shadow.give_room(room)
            put()
            await asyncio.sleep(0.01)
    for _ in range(40):
        put()
        await asyncio.sleep(0.01)
    assert writer.waiting > 20
    # Reading goes on: what was judged was stored before, and it is all there. What is stored may not be judged yet.
    judged = [v for _, f in list(judge_.fed) for v in f.value[f.tag == number].tolist()]
    held = reader.read(["own.a.pv"], 0, 2**62)["own.a.pv"]
    assert len(judged) > 100 and held.value.tolist()[: len(judged)] == judged
    shadow.give_room(None)
    async with asyncio.timeout(30):
        while "disk-back" not in (e.kind for e in events):
            put()
            await asyncio.sleep(0.01)
    async with asyncio.timeout(30):
        while writer.waiting:  # noqa: ASYNC110  (a store cannot wake a test)
            await asyncio.sleep(0.01)
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    _check_collected(reader, events, judge_, sent)
    reader.close()
    store.close()


def _check_collected(reader: EmbeddedStore, events: list[Event], judge_: Recorder, sent: list[int]) -> None:
    full = next(e for e in events if e.kind == "disk-full" and "stored" in e.text)
    assert "recent.db" in full.text and "free space" in full.text, full.text
    assert not [e for e in events if e.kind == "samples-dropped"]
    held = reader.read(["own.a.pv"], 0, 2**62)["own.a.pv"]
    extra = [t for t in held.time_ns.tolist() if t not in set(sent)]
    assert not extra, f"{len(extra)} that were never sent; told: {[e.kind for e in events]}"
    assert held.time_ns.tolist() == sent and held.value.tolist() == [float(n + 1) for n in range(len(sent))]
    numbers = [seq for seq, _ in judge_.fed]
    assert numbers == list(range(1, len(numbers) + 1))
    assert _beats(reader) > 10


def _beats(reader: EmbeddedStore) -> int:
    """How many heartbeats are kept; none of them twice."""
    beats = reader.read([HEARTBEAT.path], 0, 2**62)[HEARTBEAT.path].time_ns.tolist()
    assert len(set(beats)) == len(beats)
    return len(beats)
