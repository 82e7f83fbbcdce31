"""Fills a source's gaps from its server's history, beside what the server sends live."""

from __future__ import annotations

import asyncio
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from typing import Literal

import numpy as np
from asyncua import ua
from asyncua.ua.object_ids import ObjectIds

from collector.errors import HistoryAway
from collector.gaps.backfill import Filling, Found
from collector.gaps.marks import Gap
from collector.keeping.inbox import Inbox
from collector.opcua.arriving import Arriving
from collector.opcua.history import read_raw, remembers
from collector.opcua.items import Item
from collector.opcua.limits import in_groups
from collector.opcua.link import Link
from collector.opcua.times import NO_TIME, told_ns
from collector.opcua.values import Changes
from collector.reading.readings import Readings
from historian.frame import NS, Series

LOOK_EVERY_S = 0.5
_FIRST_PIECE_NS = 60 * NS
_PIECE_NS = (NS, 86_400 * NS)
_FEW, _MANY = 20_000, 200_000  # samples in a piece: below, the next is longer; above, shorter
_TRIES = 3
_START_TIME = ua.NodeId(ua.Int32(ObjectIds.Server_ServerStatus_StartTime))

Tell = Callable[[str, str, Mapping[str, object]], None]
"""Gets the kind, the sentence and the data of an event."""


class Filler:
    """The gaps of one source, over all its connections.

    Args:
        name: the source's.
        inbox: tells which gaps have ended, and takes what is found.
        clock: ``wall`` when the source's time stamps are UTC.
        tell: where events go.

    Attributes:
        filled: samples that were found and kept.
    """

    def __init__(self, name: str, inbox: Inbox, clock: Literal["wall", "own"], tell: Tell) -> None:
        self._name, self._inbox, self._wall, self._tell = name, inbox, clock == "wall", tell
        self._waiting: deque[Filling] = deque()
        self._ended: list[Gap] = []
        self._started_ns: int | None = None
        self.filled = 0

    @property
    def waiting(self) -> int:
        """Gaps that are still to be filled."""
        return len(self._ended) + sum(len(filling.tags) for filling in self._waiting)

    async def run(self, link: Link, arriving: Arriving, items: Sequence[Item]) -> None:
        """Fill whatever gap ends, until cancelled; the next connection goes on from there.

        Args:
            link: the connection; nothing that goes wrong with a history breaks it.
            arriving: knows what came first on this connection.
            items: the tags that the server knows.

        Raises:
            SourceAway: the connection broke.
        """
        (start,) = await link.read([_START_TIME])
        started_ns = told_ns(start.Value.Value if start.Value is not None else None)
        restarted = started_ns == NO_TIME or started_ns != self._started_ns
        self._started_ns = started_ns
        nodes = Nodes(items)
        while True:
            await asyncio.sleep(LOOK_EVERY_S)
            ended = self._inbox.ended_gaps(self._name)
            self._ended += ended
            if self._ended and not ended:
                self._add(arriving, started_ns, restarted=restarted)
            while arriving.holes:
                gap, first = arriving.holes.pop()
                self._waiting.append(Filling([gap], {gap.tag: first}, first.time_ns))
            while self._waiting:
                await self._fill(self._waiting[0], link, nodes)
                self._waiting.popleft()

    def _add(self, arriving: Arriving, started_ns: int, *, restarted: bool) -> None:
        gaps, self._ended = self._ended, []
        if restarted and not self._wall:
            # When it was down cannot be told in a time of its own: nothing that it remembers is a proof.
            return
        firsts = {gap.tag: arriving.firsts[gap.tag] for gap in gaps if gap.tag in arriving.firsts}
        end_ns = max([gap.since_ns for gap in gaps] + [first.time_ns for first in firsts.values()])
        if self._wall:
            end_ns = max(end_ns, arriving.started_ns)
        # One that does not tell may have been started at any time.
        down_ns = (end_ns if started_ns == NO_TIME else started_ns) if self._wall else None
        by_tag: dict[int, list[Gap]] = {}
        for gap in gaps:
            by_tag.setdefault(gap.tag, []).append(gap)
        for turn in range(max(len(of_tag) for of_tag in by_tag.values())):
            some = [of_tag[turn] for of_tag in by_tag.values() if len(of_tag) > turn]
            self._waiting.append(Filling(some, firsts, end_ns, down_ns))

    async def _fill(self, filling: Filling, link: Link, nodes: Nodes) -> None:
        """Ask for one piece after the other; what is not asked for yet waits when the connection breaks."""
        asked = len(filling.tags)
        filling.give_up(set(filling.tags) - nodes.by_tag.keys())
        tags = filling.tags
        said = await remembers(link, [nodes.by_tag[tag].node for tag in tags])
        records = {tag: r.records for tag, r in zip(tags, said, strict=True) if r.readable}
        filling.give_up(set(tags) - records.keys())
        readable = len(filling.tags)
        reader = _Reader(link, nodes, records)
        while (piece := filling.piece(reader.piece_ns)) is not None:
            before = filling.filled
            found = await reader.read(filling.tags, *piece)
            if found is None:
                continue
            lot = filling.take(piece[1], found)
            if lot is not None:
                self._inbox.put_lot(self._name, lot)
            filling.give_up(reader.hopeless)
            self.filled += filling.filled - before
            reader.found(filling.filled - before)
        self._say(filling, asked, readable, reader.refusal)

    def _say(self, filling: Filling, asked: int, readable: int, refusal: str) -> None:
        text = (
            f"Source {self._name}: {filling.filled} samples of a gap were read from the server's history; "
            f"{filling.proven} of {asked} tags have no gap any more."
        )
        if readable < asked:
            text += f" The server keeps no history of {asked - readable}."
        if refusal:
            text += f" The server refused a part: {refusal}."
        data = {
            "samples": filling.filled,
            "tags": asked,
            "without_gap": filling.proven,
            "without_history": asked - readable,
        }
        self._tell("gap-filled" if filling.filled or filling.proven else "gap-not-filled", text, data)


class Nodes:
    """The tags that a server knows, as one connection sees them.

    Attributes:
        by_tag: tag number → its item.
    """

    def __init__(self, items: Sequence[Item]) -> None:
        self.by_tag = {item.reading.tag.id: item for item in items}
        self._readings = Readings([item.reading for item in self.by_tag.values()])
        self._places = {tag: place for place, tag in enumerate(self.by_tag)}

    def series(self, tag: int, values: Changes) -> Series:
        """What a server remembers of a tag, as the tag's samples."""
        time_ns = np.where(values.source_ns == NO_TIME, values.server_ns, values.source_ns)
        values, time_ns = values.chosen(time_ns != NO_TIME), time_ns[time_ns != NO_TIME]
        value, quality = self._readings.take_mixed(self._places[tag], values.raw(), values.status)
        return Series(time_ns, value, quality)


class _Reader:
    """Asks for pieces that a server can answer and that leave room for what it sends live.

    Attributes:
        piece_ns: how long the next piece is to be.
        hopeless: tags that were refused too often.
        refusal: why something was refused.
    """

    def __init__(self, link: Link, nodes: Nodes, records: Mapping[int, bool]) -> None:
        self._link, self._nodes, self._records = link, nodes, records
        self._at_once = link.limits.history
        self._refused: dict[int, int] = {}
        self.piece_ns = _FIRST_PIECE_NS
        self.refusal = ""

    @property
    def hopeless(self) -> list[int]:
        """The tags that were refused too often to be asked for again."""
        return [tag for tag, times in self._refused.items() if times >= _TRIES]

    def found(self, samples: int) -> None:
        """So many were found in a piece."""
        shortest, longest = _PIECE_NS
        if samples < _FEW:
            self.piece_ns = min(2 * self.piece_ns, longest)
        elif samples > _MANY:
            self.piece_ns = max(self.piece_ns // 2, shortest)

    async def read(self, tags: Sequence[int], start_ns: int, end_ns: int) -> dict[int, Found] | None:
        """What the server remembers of the tags; None when a shorter piece is to be tried."""
        found: dict[int, Found] = {}
        for some in in_groups(tags, self._at_once):
            began = time.monotonic()
            try:
                answers = await read_raw(
                    self._link, [self._nodes.by_tag[tag].node for tag in some], start_ns, end_ns
                )
            except HistoryAway as error:
                self.refusal = str(error)
                if error.too_much and self._try_less():
                    return None
                answers = [None] * len(some)
            for tag, values in zip(some, answers, strict=True):
                self._refused[tag] = self._refused.get(tag, 0) + 1 if values is None else 0
                if values is not None:
                    found[tag] = Found(self._nodes.series(tag, values), self._records[tag])
            # As long for what comes live as was taken from it.
            await asyncio.sleep(time.monotonic() - began)
        return found

    def _try_less(self) -> bool:
        shortest, _ = _PIECE_NS
        if self._at_once == 1 and self.piece_ns <= shortest:
            return False
        self._at_once = max(1, self._at_once // 2)
        self.piece_ns = max(shortest, self.piece_ns // 2)
        return True
