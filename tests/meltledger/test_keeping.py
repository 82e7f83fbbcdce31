"""Beside a running line closed hours are sealed; what keeps them from it is told once and stops nothing."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
import structlog

from historian.archive.manifest import DAY_NS, NAME
from historian.archive.writer import load_manifest
from historian.embedded.store import EmbeddedStore
from historian.embedded.upkeep import Kept, Upkeep
from historian.errors import StoreFull
from historian.event import Event
from historian.frame import NS, Frame
from historian.quality import NO_DATA
from historian.retention import Keep, Window
from historian.rollups.columns import HOUR_NS
from historian.tags import Tag
from meltledger.config import load
from meltledger.keeping import keep_house
from meltledger.wiring import run_line
from rules.journal import Journal
from tests.historian.care.lines import flip
from tests.support.served_line import served_elsewhere
from tests.support.small_line import TAGS, SmallLine

T0 = 1_893_456_000 * NS


@dataclass
class Line:
    """A store with an hour of frames, and a clock two hours after its start."""

    folder: Path
    now: int = T0 + 2 * HOUR_NS
    events: list[Event] = field(default_factory=list)
    held: list[Window] = field(default_factory=list)
    store: EmbeddedStore = field(init=False)

    def __post_init__(self) -> None:
        self.store = EmbeddedStore.open(self.folder)
        self.store.register([Tag("filter.inlet.pressure.pv", "bar")])
        self.hour(0)

    def now_ns(self) -> int:
        return self.now

    def hour(self, number: int) -> None:
        time_ns = T0 + number * HOUR_NS + np.arange(0, 3600, 10) * NS
        n = len(time_ns)
        self.store.append(Frame.of([1] * n, time_ns, np.arange(n), [0] * n, arrival_ns=int(time_ns[-1]) + NS))

    def sealed(self) -> int:
        manifest = load_manifest(self.folder / "archive")
        return manifest.sealed_seq if manifest else 0

    @asynccontextmanager
    async def kept(self, *, sink: Callable[[Event], None] | None = None) -> AsyncIterator[None]:
        """The folder is looked after until the end of the block."""
        tell = sink or self.events.append
        task = asyncio.create_task(
            keep_house(self.folder, "line-1", Keep(), self, tell, lambda: self.held, every_s=0.01)
        )
        try:
            yield
            assert not task.done()
        finally:
            task.cancel()
            with pytest.raises(asyncio.CancelledError):
                await task


@pytest.fixture
def line(tmp_path: Path) -> Iterator[Line]:
    made = Line(tmp_path)
    yield made
    made.store.close()


@pytest.fixture(autouse=True)
def logged() -> Iterator[list[dict[str, object]]]:
    with structlog.testing.capture_logs() as logs:
        yield logs  # type: ignore[misc]


async def until(condition: Callable[[], bool], seconds: float = 30.0) -> None:
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "it does not come to that"
        await asyncio.sleep(0.01)


async def test_closed_hours_are_sealed_as_the_clock_goes_on(
    line: Line, logged: list[dict[str, object]]
) -> None:
    async with line.kept():
        await until(lambda: line.sealed() == 1)
        line.hour(1)
        line.now += HOUR_NS
        await until(lambda: line.sealed() == 2)
    assert line.events == []
    told = [entry for entry in logged if entry["event"] == "house_kept"]
    assert [entry["frames_sealed"] for entry in told] == [1, 1]
    assert len(line.store.read(["filter.inlet.pressure.pv"], 0, 2**62)["filter.inlet.pressure.pv"]) == 720


async def test_a_full_disk_is_told_once_and_once_when_it_is_over(
    line: Line, monkeypatch: pytest.MonkeyPatch
) -> None:
    tries: list[int] = []
    step = Upkeep.step

    def full(self: Upkeep, now_ns: int, held: tuple[Window, ...] = ()) -> Kept:
        tries.append(now_ns)
        if len(tries) <= 3:
            raise StoreFull("archive: the disk is full")
        return step(self, now_ns, held)

    monkeypatch.setattr(Upkeep, "step", full)
    async with line.kept():
        await until(lambda: len(tries) > 5)
    assert [e.kind for e in line.events] == ["disk-full", "sealing-back"]
    assert "Samples cannot be sealed" in line.events[0].text and "free space" in line.events[0].text
    assert line.sealed() == 1


async def test_a_damaged_archive_is_told_and_samples_are_kept_all_the_same(line: Line) -> None:
    async with line.kept():
        await until(lambda: line.sealed() == 1)
    sound = (line.folder / "archive" / NAME).read_bytes()
    flip(line.folder / "archive" / NAME, 40)
    async with line.kept():
        await until(lambda: bool(line.events))
        assert "meltledger doctor" in line.events[0].text and line.events[0].kind == "sealing-trouble"
        # A store that was open before goes on from what it knows.
        line.hour(1)
        (line.folder / "archive" / NAME).write_bytes(sound)
        line.now += HOUR_NS
        await until(lambda: line.sealed() == 2)
    assert [e.kind for e in line.events] == ["sealing-trouble", "sealing-back"]


async def test_an_error_that_nobody_foresaw_stops_nothing(
    line: Line, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> Kept:
        raise ZeroDivisionError("by mistake")

    with monkeypatch.context() as patch:
        patch.setattr(Upkeep, "step", broken)
        async with line.kept():
            await until(lambda: bool(line.events))
            await asyncio.sleep(0.05)
    assert len(line.events) == 1 and "ZeroDivisionError: by mistake" in line.events[0].text


async def test_what_the_journal_does_not_take_is_told_later(
    line: Line, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> Kept:
        raise StoreFull("archive: the disk is full")

    refused: list[Event] = []

    def sink(event: Event) -> None:
        if len(refused) < 3:
            refused.append(event)
            raise StoreFull("journal.db: the disk is full")
        line.events.append(event)

    monkeypatch.setattr(Upkeep, "step", full)
    async with line.kept(sink=sink):
        await until(lambda: bool(line.events))
    assert [e.kind for e in line.events] == ["disk-full"]


async def test_a_step_under_way_is_ended_before_it_stops(line: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    begun, go_on, ended = threading.Event(), threading.Event(), threading.Event()
    step = Upkeep.step

    def slow(self: Upkeep, now_ns: int, held: tuple[Window, ...] = ()) -> Kept:
        begun.set()
        assert go_on.wait(30)
        kept = step(self, now_ns, held)
        ended.set()
        return kept

    monkeypatch.setattr(Upkeep, "step", slow)
    async with line.kept():
        await asyncio.to_thread(begun.wait, 30)
        go_on.set()
    assert ended.is_set() and line.sealed() == 1
    assert not [t for t in threading.enumerate() if t.name.startswith("meltledger-upkeep")]


async def test_what_is_held_is_asked_at_each_step(line: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[Window, ...]] = []
    step = Upkeep.step

    def noted(self: Upkeep, now_ns: int, held: list[Window]) -> Kept:
        asked.append(tuple(held))
        return step(self, now_ns, held)

    monkeypatch.setattr(Upkeep, "step", noted)
    async with line.kept():
        await until(lambda: asked[-1:] == [()])
        line.held = [(T0, 2**63 - 1)]
        await until(lambda: asked[-1:] == [((T0, 2**63 - 1),)])


_FILE = """\
[line]
name = "pilot"
zone = "Europe/Madrid"

[store]
kind = "embedded"
path = "data"

[[source]]
name = "small-line"
kind = "opcua"
endpoint = "{endpoint}"
simulated = true

[source.tags]
"""


async def test_a_running_line_seals_what_an_earlier_run_left_and_a_reader_reads_all(tmp_path: Path) -> None:
    path = tmp_path / "line.toml"
    with served_elsewhere(SmallLine(t0_ns=None)) as line:
        text = _FILE.format(endpoint=line.serving.endpoint)
        for tag in TAGS:
            node = f"nsu=urn:meltledger:simulated-line;s={tag.path}"
            text += f'"{tag.path}" = {{ node = "{node}", unit = "{tag.unit}" }}\n'
        path.write_text(text, encoding="utf-8")
        config = load(path)
        store = EmbeddedStore.open(config.folder)
        number = store.register(config.tags)[TAGS[0].path].id
        hour_ns = (time.time_ns() // HOUR_NS - 3) * HOUR_NS
        time_ns = hour_ns + np.arange(0, 3600, 10) * NS
        for at in time_ns.tolist():
            store.append(Frame.of([number], [at], [at // NS % 97], [0], arrival_ns=at + NS))
        store.close()
        stop = asyncio.Event()
        task = asyncio.create_task(run_line(config, stop))
        reader = EmbeddedStore.open(config.folder, mode="read")
        await until(lambda: (m := load_manifest(config.folder / "archive")) is not None and m.sealed_seq > 0)
        await until(lambda: len(reader.read([TAGS[0].path], hour_ns, 2**62)[TAGS[0].path]) > 361)
        stop.set()
        await task
    manifest = load_manifest(config.folder / "archive")
    assert manifest is not None and manifest.line == "pilot"
    # Soon after midnight that hour belongs to a day that is over, and lies in the day's segment.
    (segment,) = manifest.segments
    assert segment.start_ns in (hour_ns, hour_ns // DAY_NS * DAY_NS)
    assert segment.start_ns <= hour_ns < segment.end_ns
    series = reader.read([TAGS[0].path], 0, 2**62)[TAGS[0].path]
    assert series.time_ns[:360].tolist() == time_ns.tolist()
    assert series.value[:360].tolist() == (time_ns // NS % 97).tolist()
    # Then the gap between the two runs, and what the second one saw.
    assert series.time_ns[360] == time_ns[-1] + 1_000_000 and series.quality[360] == NO_DATA
    assert len(series) > 361 and series.time_ns[361] > time.time_ns() - 600 * NS
    numbers = [n for n, _ in reader.frames()]
    assert numbers == list(range(1, reader.last_number() + 1))
    reader.close()
    journal = Journal.open(config.journal, "read")
    assert not [e for e in journal.entries() if "sealed" in str(e.data)]
    journal.close()
