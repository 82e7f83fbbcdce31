"""Between the sources and the writer: takes single samples cheaply, gives whole frames."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import replace

from collector.arrival import STEP_NS, Arrival
from collector.dropped import Dropped
from collector.mapping import SourceMapping
from collector.stream import ALIVE, LOST, Row, Stream
from historian.event import Event
from historian.frame import Frame
from historian.store import Sample
from historian.tags import Tag

LIMIT = 2_000_000
"""Samples held at most; with 200 tags once a second that is more than two and a half hours."""


class Inbox:
    """Holds what the sources deliver until the writer cuts it into frames.

    All methods are called on the event loop's thread.

    Args:
        sources: who delivers.
        tags: as the store knows them, by path.
        latest: the newest stored sample of each tag, by path; what came before is a gap up to now.
        epochs: clock epoch of each source to go on from, by name.
        limit: samples held at most; beyond that the oldest are dropped, and said.
    """

    def __init__(
        self,
        sources: Iterable[SourceMapping],
        tags: Mapping[str, Tag],
        latest: Mapping[str, Sample] | None = None,
        *,
        epochs: Mapping[str, int] | None = None,
        limit: int = LIMIT,
    ) -> None:
        self._streams: dict[str, Stream] = {}
        for source in sources:
            paths = {tags[t.path].id: t.path for t in source.tags}
            stored = {number: latest[p] for number, p in paths.items() if p in latest} if latest else {}
            self._streams[source.name] = Stream(source, paths, stored, (epochs or {}).get(source.name, 0))
        self._limit = limit
        self._rows: deque[tuple[str, Row]] = deque()
        self._lots: list[Frame] = []
        self._first_ns: dict[str, int] = {}
        self._dropped: dict[str, Dropped] = {}
        self._lost: set[str] = set()
        self._arrival = Arrival(max((s.arrival_ns for s in (latest or {}).values()), default=None))
        self._events: list[Event] = []

    def put(
        self, source: str, tag_id: int, time_ns: int, value: float, quality: int, confirmed_ns: int = 0
    ) -> None:
        """Take one sample.

        Args:
            source: its name.
            tag_id: number of the tag.
            time_ns: source time.
            value: in the tag's unit.
            quality: OPC UA StatusCode.
            confirmed_ns: for the first sample of the tag since the source came back: the source's own time
                when it sent it, or 1 when that is not known; 0 for every other sample.
        """
        self._rows.append((source, (tag_id, time_ns, value, quality, confirmed_ns)))
        if len(self._rows) > self._limit:
            self._drop_oldest()

    def put_lot(self, frame: Frame) -> None:
        """Take old samples as they are: history that is filled in behind what a source sends now.

        Its arrival is that of the next cut; nothing is concluded from its times, gaps or order.
        """
        self._lots.append(frame)

    def alive(self, source: str, time_ns: int) -> None:
        """The source is there, and this is its time."""
        self._rows.append((source, (ALIVE, time_ns, math.nan, 0, 0)))

    def lost(self, source: str) -> None:
        """The source is gone: a gap begins for each of its tags."""
        self._rows.append((source, (LOST, 0, math.nan, 0, 0)))

    def tell(self, event: Event) -> None:
        """Take an event, to be written in order with the samples; usable as a source's event sink."""
        self._events.append(event)

    @property
    def arrival_ns(self) -> int:
        """Arrival time of the newest cut; never falls."""
        return self._arrival.newest_ns

    def first_ns(self, source: str) -> int | None:
        """Newest source time of the first samples that came from a source; None before they were cut."""
        return self._first_ns.get(source)

    def cut(self, now_ns: int) -> list[Frame]:
        """Everything taken since the last cut: one frame a source, one more for each step of its clock.

        Args:
            now_ns: reading of the edge's clock.
        """
        arrival_ns = self._arrival.at(now_ns)
        if self._arrival.stepped_back_ns > STEP_NS:
            self._tell_edge_clock(now_ns)
        rows: dict[str, list[Row]] = {name: self._gone(name, now_ns) for name in self._streams}
        for _ in range(len(self._rows)):
            source, row = self._rows.popleft()
            rows[source].append(row)
        frames: list[Frame] = []
        for name, stream in self._streams.items():
            cut, events = stream.take(rows[name], arrival_ns)
            frames.extend(cut)
            if cut and rows[name] and name not in self._first_ns:
                self._first_ns[name] = int(cut[-1].time_ns.max())
            self._events.extend(events)
        frames.extend(replace(lot, arrival_ns=arrival_ns) for lot in self._lots)
        self._lots = []
        return frames

    def events(self) -> list[Event]:
        """What happened since the last call; hands it over."""
        told, self._events = self._events, []
        return told

    def _drop_oldest(self) -> None:
        source, (tag, time_ns, _, _, _) = self._rows.popleft()
        if tag == LOST:
            self._lost.add(source)
        elif tag >= 0:
            self._dropped.setdefault(source, Dropped()).add(0, tag, time_ns)

    def _gone(self, source: str, now_ns: int) -> list[Row]:
        """Rows that stand for what was dropped of a source."""
        rows: list[Row] = []
        dropped = self._dropped.pop(source, None)
        if dropped:
            rows.extend((*mark, 0) for mark in dropped.marks(0))
            why = f"more than {self._limit} waited for the writer, the last of source {source}"
            self._events.append(dropped.event(now_ns, why))
        if source in self._lost:
            self._lost.discard(source)
            rows.append((LOST, 0, math.nan, 0, 0))
        return rows

    def _tell_edge_clock(self, now_ns: int) -> None:
        back_s = self._arrival.stepped_back_ns / 1e9
        self._events.append(
            Event(
                now_ns,
                "edge",
                "clock-stepped",
                f"This computer's clock went back {back_s:.1f} s. Arrival times go on at half speed until it "
                "has caught up. Remedy: check this computer's time server.",
                {"step_s": -back_s},
            )
        )
