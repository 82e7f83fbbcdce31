"""The health of a running collector in its store, as one frame every ten seconds."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from collector import (
    Inbox,
    SourceCounts,
    SourceMapping,
    SourceState,
    SourceStatus,
    TagMapping,
    Watch,
    Writer,
    health_tags,
    tags_of,
)
from historian import NS, EmbeddedStore, Frame
from historian.errors import StoreFull
from tests.collector.conftest import Judged

MAPPING = SourceMapping("press-1", "opc.tcp://x", False, (TagMapping("own.p.pv", "s=P", "1"),))
AT = "edge.source.press_1."


@dataclass
class Hand:
    """A clock and a source that a test moves."""

    now: int = 1_800_000_000 * NS
    state: SourceState = SourceState.CONNECTED
    counts: SourceCounts = field(default_factory=SourceCounts)
    name: str = "press-1"

    def now_ns(self) -> int:
        return self.now

    @property
    def status(self) -> SourceStatus:
        return SourceStatus(self.name, self.state, 1_800_000_000 * NS)

    async def run(self, inbox: object, sink: object) -> None:
        raise NotImplementedError


@dataclass
class Line:
    """An inbox with its watch, cut by hand."""

    hand: Hand
    inbox: Inbox
    watch: Watch
    tag: int
    frames: list[Frame] = field(default_factory=list)

    def second(self, *lags_s: float, waiting: int = 0) -> None:
        """A second passes, in which samples of these lags come."""
        self.hand.now += NS
        for lag_s in lags_s:
            self.inbox.put("press-1", self.tag, self.hand.now - int(lag_s * NS), 1.0, 0)
        self.inbox.cut(self.hand.now)
        self.frames += self.watch.cut(self.hand.now, waiting, self.hand.now - NS // 2)


def line(tmp_path: Path) -> Line:
    with_store = EmbeddedStore.open(tmp_path / "store")
    tags = with_store.register([*tags_of([MAPPING]), *health_tags(["press-1"])])
    with_store.close()
    hand = Hand()
    inbox = Inbox([MAPPING], tags)
    return Line(hand, inbox, Watch(lambda: [hand], inbox, tags, hand), tags["own.p.pv"].id)


def test_one_frame_every_ten_seconds_and_a_look_every_second(tmp_path: Path) -> None:
    one = line(tmp_path)
    for n in range(61):
        one.hand.counts = SourceCounts(received=5 * n)
        one.second(0.3, waiting=n)
        health = one.watch.health
        assert health is not None and health.at_ns == one.hand.now
        assert health.store.backlog == n
    assert len(one.frames) == 7
    assert {int(t) for t in one.frames[-1].time_ns} == {one.frames[-1].arrival_ns}
    (press,) = health.sources
    assert (press.rate_per_s, round(press.lag_s, 9)) == (5.0, 0.3)
    assert health.store.commit_age_s == 0.5


def test_a_loss_is_a_gap_and_a_late_sample_a_lag(tmp_path: Path) -> None:
    one = line(tmp_path)
    for _ in range(5):
        one.second(0.2)
    one.hand.state = SourceState.LOST
    for _ in range(4):
        one.second()
    one.hand.state = SourceState.CONNECTED
    one.second(3.0)
    one.second(0.1)
    health = one.watch.health
    assert health is not None
    (press,) = health.sources
    assert (press.gaps, press.gap_s) == (1, 5.0)
    assert (press.lag_s, press.worst_lag_s) == (0.1, 3.0)


def test_a_clock_that_is_ahead_shows(tmp_path: Path) -> None:
    one = line(tmp_path)
    for _ in range(12):
        one.second(-20.0)
    health = one.watch.health
    assert health is not None
    assert health.sources[0].clock_offset_s == pytest.approx(20.0, abs=health.sources[0].clock_uncertainty_s)


def test_what_goes_wrong_in_a_look_never_ends_the_recording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = line(tmp_path)

    def broken(source: str) -> tuple[int, int]:
        raise RuntimeError(source)

    monkeypatch.setattr(one.inbox, "lag", broken)
    one.second(0.2)
    assert (one.frames, one.watch.health) == ([], None)


async def test_the_writer_puts_it_into_the_store_and_tells_of_a_store_that_takes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = EmbeddedStore.open(tmp_path / "store")
    tags = store.register([*tags_of([MAPPING]), *health_tags(["press-1"])])
    hand = Hand()
    inbox = Inbox([MAPPING], tags)
    watch = Watch(lambda: [hand], inbox, tags, hand)
    writer = Writer(store, inbox, Judged(), hand, lambda event: None, flush_s=0.01, watch=watch)
    task = asyncio.create_task(writer.run())
    await _until(lambda: bool(store.latest([AT + "state"])), hand)
    assert store.latest([AT + "state"])[AT + "state"].value == 1.0
    await _until(lambda: watch.health is not None and watch.health.store.commit_age_s < 3.0, hand)

    def full(*frames: Frame) -> int:
        raise StoreFull("no room")

    monkeypatch.setattr(store, "append", full)
    await _until(lambda: watch.health is not None and watch.health.store.commit_age_s > 20.0, hand)
    assert watch.health is not None and watch.health.reasons(10.0)
    monkeypatch.undo()
    await _until(lambda: watch.health is not None and not watch.health.reasons(10.0), hand)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    store.close()


async def _until(true: object, hand: Hand) -> None:
    async with asyncio.timeout(20.0):
        while not true():  # type: ignore[operator]
            hand.now += NS // 2
            await asyncio.sleep(0.01)
