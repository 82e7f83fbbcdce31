"""How the history is asked for: how much at once, what is given up, and when it is not asked at all."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Literal

import pytest
from asyncua import ua

from collector import Inbox, SourceMapping, TagMapping, tags_of
from collector.errors import HistoryAway
from collector.gaps.backfill import First
from collector.gaps.marks import Gap
from collector.opcua import filler
from collector.opcua.arriving import Arriving
from collector.opcua.filler import Filler
from collector.opcua.history import Remembers
from collector.opcua.items import Item
from collector.opcua.limits import Limits
from collector.opcua.times import NO_TIME, ns_of
from collector.opcua.values import Changes
from collector.reading.mapping import Reading
from historian import NS, Frame, Tag
from historian.quality import GOOD, HELD

T = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
T_NS = ns_of(T)
HOUR_NS = 3600 * NS
TAGS = [Tag(f"own.t{n}.pv", "1", id=n) for n in range(1, 5)]
MAPPINGS = tuple(TagMapping(tag.path, f"i={tag.id}", "1") for tag in TAGS)


@dataclass
class Server:
    """A server that remembers a sample a minute of each node, and answers for so much at once.

    Attributes:
        at_once: nodes.
        longest_ns: piece of time.
        refuses: nodes that it gives nothing of.
        asked: pieces that were asked for: nodes, start, end.
    """

    at_once: int = 1000
    longest_ns: int = 2**62
    refuses: frozenset[int] = frozenset()
    started: datetime = T
    limits: Limits = field(default_factory=lambda: Limits(history=4))
    asked: list[tuple[int, int, int]] = field(default_factory=list)

    async def read(self, nodes: Sequence[ua.NodeId]) -> list[ua.DataValue]:
        return [ua.DataValue(ua.Variant(self.started)) for _ in nodes]

    async def remembers(self, link: object, nodes: Sequence[ua.NodeId]) -> list[Remembers]:
        return [Remembers(readable=True, records=True) for _ in nodes]

    async def read_raw(
        self, link: object, nodes: Sequence[ua.NodeId], start_ns: int, end_ns: int
    ) -> list[Changes | None]:
        if len(nodes) > self.at_once or end_ns - start_ns > self.longest_ns:
            raise HistoryAway("too much", too_much=True)
        self.asked.append((len(nodes), start_ns, end_ns))
        return [None if n.Identifier in self.refuses else self._rows(start_ns, end_ns) for n in nodes]

    def _rows(self, start_ns: int, end_ns: int) -> Changes:
        minute_ns = 60 * NS
        times = [t for t in range(T_NS, T_NS + HOUR_NS + 1, minute_ns) if start_ns <= t <= end_ns]
        rows = Changes.blank(len(times))
        rows.source_ns[:] = times
        rows.value[:] = [(t - T_NS) / NS for t in times]
        return rows


class Gaps(Inbox):
    """An inbox in which a gap of an hour has just ended for every tag."""

    def __init__(self, mapping: SourceMapping) -> None:
        super().__init__([mapping], {t.path: tag for t, tag in zip(tags_of([mapping]), TAGS, strict=True)})
        mark_ns, until_ns = T_NS + 1_000_000, T_NS + HOUR_NS
        self.ended = [Gap(tag.id, T_NS, 0.0, GOOD, mark_ns, until_ns) for tag in TAGS]
        self.lots: list[Frame] = []

    def ended_gaps(self, source: str) -> list[Gap]:
        ended, self.ended = self.ended, []
        return ended

    def put_lot(self, source: str, frame: Frame, *, receipt: object = None) -> None:
        self.lots.append(frame)


async def fill(
    server: Server, monkeypatch: pytest.MonkeyPatch, clock: Literal["wall", "own"] = "wall"
) -> tuple[Gaps, list[str]]:
    monkeypatch.setattr(filler, "LOOK_EVERY_S", 0.0)
    monkeypatch.setattr(filler, "remembers", server.remembers)
    monkeypatch.setattr(filler, "read_raw", server.read_raw)
    mapping = SourceMapping("plc", "opc.tcp://x", False, MAPPINGS, clock)
    inbox = Gaps(mapping)
    items = [Item(Reading(m, tag), ua.NodeId(tag.id, 2)) for m, tag in zip(MAPPINGS, TAGS, strict=True)]
    arriving = Arriving("plc", inbox, clock, items)
    arriving.started_ns = T_NS + HOUR_NS
    arriving.firsts = {tag.id: First(T_NS + HOUR_NS, HOUR_NS / NS, GOOD) for tag in TAGS}
    told: list[str] = []
    one = Filler("plc", inbox, clock, lambda kind, text, data: told.append(kind))
    running = asyncio.create_task(one.run(server, arriving, items))  # type: ignore[arg-type]
    async with asyncio.timeout(30):
        # It rests between pieces for as long as they took.
        while not told and not (inbox.ended == [] and one.waiting == 0 and clock == "own"):  # noqa: ASYNC110 - counts
            await asyncio.sleep(0)
    running.cancel()
    with suppress(asyncio.CancelledError):
        await running
    return inbox, told


def good(inbox: Gaps, tag: int) -> list[float]:
    return [
        v
        for lot in inbox.lots
        for n, v, q in zip(lot.tag.tolist(), lot.value.tolist(), lot.quality.tolist(), strict=True)
        if n == tag and q == GOOD
    ]


ALL = [60.0 * n for n in range(1, 60)]


async def test_pieces_grow_while_little_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    server = Server()
    inbox, told = await fill(server, monkeypatch)
    lengths = [(end - start) // NS for _, start, end in server.asked]
    assert lengths[:3] == [60, 120, 240] and sum(lengths) == 3600
    assert {n for n, _, _ in server.asked} == {4}
    assert all(good(inbox, tag.id) == ALL for tag in TAGS)
    assert told == ["gap-filled"]


async def test_less_is_asked_for_where_it_is_too_much(monkeypatch: pytest.MonkeyPatch) -> None:
    server = Server(at_once=1, longest_ns=400 * NS)
    inbox, _ = await fill(server, monkeypatch)
    assert {n for n, _, _ in server.asked} == {1}
    assert all(good(inbox, tag.id) == ALL for tag in TAGS)


async def test_a_node_that_is_refused_keeps_its_mark_and_the_others_are_filled(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    server = Server(refuses=frozenset({2}))
    inbox, _ = await fill(server, monkeypatch)
    assert good(inbox, 1) == ALL and good(inbox, 2) == []
    assert 2 not in {int(t) for lot in inbox.lots for t in lot.tag}
    # After three refusals it is not asked for again.
    assert [n for n, _, _ in server.asked] == [4, 4, 4, 3, 3, 3][: len(server.asked)]


async def test_where_it_was_started_meanwhile_the_gap_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    server = Server(started=datetime.fromtimestamp(T.timestamp() + 1830, UTC))
    inbox, _ = await fill(server, monkeypatch)
    assert good(inbox, 1) == ALL
    left = [
        (t - T_NS) // NS
        for lot in inbox.lots
        for n, t, v in zip(lot.tag.tolist(), lot.time_ns.tolist(), lot.value.tolist(), strict=True)
        if n == 1 and math.isnan(v)
    ]
    replaced = [
        (t - T_NS) // NS
        for lot in inbox.lots
        for n, t, q in zip(lot.tag.tolist(), lot.time_ns.tolist(), lot.quality.tolist(), strict=True)
        if n == 1 and q == HELD
    ]
    assert set(left) - set(replaced) == {1800}


async def test_a_time_of_its_own_proves_nothing_after_a_start(monkeypatch: pytest.MonkeyPatch) -> None:
    server = Server()
    inbox, told = await fill(server, monkeypatch, "own")
    assert server.asked == [] and inbox.lots == [] and told == []


def test_no_time_is_none() -> None:
    assert Changes.blank(1).source_ns.tolist() == [NO_TIME]
