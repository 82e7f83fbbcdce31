"""Between the sources and the writer: takes single samples cheaply, gives whole frames."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from collector.clocks.arrival import STEP_NS, Arrival
from collector.clocks.line import Clocks
from collector.columns import Columns
from collector.entry import ALIVE, HEALED, LOST
from collector.gaps.marks import Gap
from collector.keeping.stream import Stream
from collector.keeping.taken import Receipt, Taken
from collector.reading.mapping import SourceMapping
from historian.clocks.originals import shift_path
from historian.event import Event
from historian.frame import Frame, Qualities, TagIds, Times, Values
from historian.store import Sample
from historian.tags import Tag

LIMIT = 2_000_000
"""Samples held at most; with 200 tags once a second that is more than two and a half hours."""


class Inbox:
    """Holds what the sources deliver until the writer cuts it into frames.

    What a source calls (``put`` to ``tell``, ``hurry``) may be called on any thread; ``cut`` and what follows
    it on the event loop's.

    Args:
        sources: who delivers.
        tags: as the store knows them, by path.
        latest: the newest stored sample of each tag, by path; what came before is a gap up to now.
        epochs: clock epoch of each source to go on from, by name.
        limit: samples held at most; beyond that the oldest are dropped, and said.
        passed_ns: the newest stored arrival of all; that of ``latest`` when left out.
        believed: whether something beside the sources says that a reading of the edge's clock is right.
        unfilled: gaps of each source that an earlier run did not live to fill, by name.
    """

    def __init__(
        self,
        sources: Iterable[SourceMapping],
        tags: Mapping[str, Tag],
        latest: Mapping[str, Sample] | None = None,
        *,
        epochs: Mapping[str, int] | None = None,
        limit: int = LIMIT,
        passed_ns: int | None = None,
        believed: Callable[[int], bool] = lambda now_ns: False,
        unfilled: Mapping[str, Sequence[Gap]] | None = None,
    ) -> None:
        arrived_ns = max((s.arrival_ns for s in (latest or {}).values()), default=passed_ns)
        self._arrival = Arrival(arrived_ns)
        self._clocks = Clocks(passed_ns or arrived_ns, believed)
        self._streams: dict[str, Stream] = {}
        for source in sources:
            gaps = (unfilled or {}).get(source.name, ())
            self.adopt(source, tags, latest, (epochs or {}).get(source.name, 0), gaps)
        self._taken = Taken(limit)
        self._cut_receipts: list[Receipt] = []
        self._hurried: Callable[[], object] | None = None
        self._first_ns: dict[str, int] = {}
        self._events: list[Event] = []

    def adopt(
        self,
        source: SourceMapping,
        tags: Mapping[str, Tag],
        latest: Mapping[str, Sample] | None = None,
        epoch: int = 0,
        unfilled: Sequence[Gap] = (),
    ) -> None:
        """Take a further source, or one whose mapping changed; what is known of its tags stays known.

        Args:
            tags: as the store knows them, by path.
            latest: the newest stored sample of each of its tags, by path.
            epoch: clock epoch to go on from, for a source that was not there before.
            unfilled: its gaps that an earlier run did not live to fill.
        """
        paths = {tags[t.path].id: t.path for t in source.tags}
        stored = {number: latest[p] for number, p in paths.items() if p in latest} if latest else {}
        old = self._streams.get(source.name)
        self._streams[source.name] = (
            Stream(source, paths, stored, epoch, unfilled)
            if old is None
            else old.going_on(source, paths, stored)
        )
        known = latest.get(shift_path(source.name)) if latest else None
        self._clocks.adopt(source, paths, tags, stored.values(), known, self._streams[source.name].newest_ns)

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
        self._taken.add(source, (tag_id, time_ns, value, quality, confirmed_ns), 1)

    def put_columns(
        self,
        source: str,
        tag: TagIds,
        time_ns: Times,
        value: Values,
        quality: Qualities,
        *,
        resent: bool = False,
        receipt: Receipt | None = None,
    ) -> None:
        """Take many samples at once, in the order in which they were sent.

        Args:
            source: its name.
            tag: numbers of the tags, shape (n,).
            time_ns: source times, shape (n,).
            value: in each tag's unit, shape (n,).
            quality: OPC UA StatusCodes, shape (n,).
            resent: the source may have sent some of them before; what is not newer than what is known is
                filled in, and nothing is concluded from its time.
            receipt: called on the event loop once all of them are on disk.
        """
        self._taken.add(source, Columns(tag, time_ns, value, quality, resent=resent), len(tag), receipt)

    def put_lot(self, source: str, frame: Frame, *, receipt: Receipt | None = None) -> None:
        """Take old samples as they are: history that is filled in behind what a source sends now.

        Their arrival is that of the next cut, their clock epoch the one in which the source is then; nothing
        is concluded from their times, gaps or order.
        """
        self._taken.add_lot(source, frame, receipt)

    def alive(self, source: str, time_ns: int) -> None:
        """The source is there, and this is its time."""
        self._taken.add(source, (ALIVE, time_ns, math.nan, 0, 0), 0)

    def lost(self, source: str) -> None:
        """The source is gone: a gap begins for each of its tags."""
        self._taken.add(source, (LOST, 0, math.nan, 0, 0), 0)

    def healed(self, source: str) -> None:
        """Nothing was lost while the source was away: the gaps that are open are none.

        To be called before the first sample since the source came back.
        """
        self._taken.add(source, (HEALED, 0, math.nan, 0, 0), 0)

    def hurry(self) -> None:
        """Have everything stored now instead of at the next flush."""
        if self._hurried is not None:
            self._hurried()

    def on_hurry(self, hurried: Callable[[], object] | None) -> None:
        """Who is to be called when somebody is in a hurry, on any thread."""
        self._hurried = hurried

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

    def lag(self, source: str) -> tuple[int, int]:
        """How many batches of live samples were cut of a source, and how late the last one was, nanoseconds.

        Where the source counts time of its own there are none.
        """
        stream = self._streams.get(source)
        batches, lag_ns = (0, 0) if stream is None else stream.lag
        # By what the source stamped, not by what is stored.
        return batches, lag_ns + self.shift_ns(source) if batches else 0

    def shift_ns(self, source: str) -> int:
        """What is added to a source's times now, because its clock is wrong; 0 when it is right."""
        return self._clocks.shift_ns(source)

    def clock_faults(self) -> dict[str, str]:
        """Which clocks are wrong, and how, one clause each: by source, the edge's own under ``edge``."""
        return self._clocks.faults()

    def source_times(self) -> list[int]:
        """What the clocks of the sources show that sent something in the last minute: as they sent it."""
        return self._clocks.shown()

    def ended_gaps(self, source: str) -> list[Gap]:
        """A source's gaps that have ended since the last call, in what was cut; hands them over.

        None while its clock is wrong: its history has other times than the gaps here.
        """
        ended = self._streams[source].ended_gaps()
        return [] if self.shift_ns(source) else ended

    def cut(self, now_ns: int, *, last: bool = False) -> list[Frame]:
        """Everything taken since the last cut: one frame a source, one more for each step of its clock.

        What may be late or have a wrong clock, and nobody can tell yet, comes with a later cut.

        Args:
            now_ns: reading of the edge's clock.
            last: nothing waits for a later cut.
        """
        batch = self._taken.cut(self._streams, now_ns)
        self._cut_receipts, entries = batch.lot_receipts, batch.entries
        self._events += batch.events
        now_ns = self._clocks.time(now_ns, entries)
        arrival_ns = self._arrival.at(now_ns)
        if self._arrival.stepped_back_ns > STEP_NS:
            self._tell_edge_clock(now_ns)
        frames: list[Frame] = []
        for name, stream in self._streams.items():
            right, shifts, done = self._clocks.right(
                name, entries[name], batch.receipts.get(name, []), now_ns, arrival_ns, last=last
            )
            self._cut_receipts.extend(done)
            cut, events = stream.take(right, arrival_ns)
            frames.extend(shifts)
            frames.extend(cut)
            if cut and right and name not in self._first_ns:
                self._first_ns[name] = int(cut[-1].time_ns.max())
            self._events.extend(events)
        frames.extend(self._lot(name, lot, arrival_ns) for name, lot in batch.lots)
        self._events.extend(self._clocks.events())
        return frames

    def _lot(self, name: str, lot: Frame, arrival_ns: int) -> Frame:
        shift_ns = self.shift_ns(name)
        return replace(
            lot,
            time_ns=lot.time_ns + shift_ns if shift_ns else lot.time_ns,
            arrival_ns=arrival_ns,
            clock_epoch=self._streams[name].epoch,
        )

    def receipts(self) -> list[Receipt]:
        """Who is to be told when the newest cut, and all before it, is on disk; hands them over."""
        receipts, self._cut_receipts = self._cut_receipts, []
        return receipts

    def events(self) -> list[Event]:
        """What happened since the last call; hands it over."""
        told, self._events = self._events, []
        return told

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
