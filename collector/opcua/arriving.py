"""What becomes of the values that a server sends: columns, first values, marks where some are missing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from collector.gaps.backfill import First
from collector.gaps.marks import MARK_AFTER_NS, Gap
from collector.keeping.inbox import Inbox
from collector.opcua.items import Item
from collector.opcua.times import NO_TIME, told_ns
from collector.opcua.values import Changes
from collector.reading.readings import Places, Readings
from historian.frame import Qualities, Times, Values
from historian.quality import NO_DATA

_OVERFLOW = np.uint32(0x0000_0480)
"""StatusCode info bits: DataValue, overflow. Source: OPC 10000-4, 7.39.1 (InfoType 01, bit 7)."""

_Mask = NDArray[np.bool_]


class Arriving:
    """Takes the values of one connection.

    Args:
        name: the source's.
        inbox: where samples go.
        clock: ``wall`` when the source's time stamps are UTC.
        items: what is subscribed to; a value's handle is its item's place in here, counted from 1.

    Attributes:
        samples: delivered to the inbox.
        received: came, kept or not.
        unstamped: came without a source time stamp and took the server's.
        rejected: came without any time.
        overflows: samples before which the server's queue had overflowed.
        firsts: tag number → what came first of it.
        holes: gaps that overflows left, with what came behind each; whoever fills them takes them out.
        started_ns: the source's own time when it was subscribed to.
    """

    def __init__(
        self, name: str, inbox: Inbox, clock: Literal["wall", "own"], items: Sequence[Item] = ()
    ) -> None:
        self._name, self._inbox, self._wall, self._items = name, inbox, clock == "wall", items
        self._readings = Readings([item.reading for item in items])
        self._mended_told = np.zeros(len(items), np.bool_)
        self._fresh = np.ones(len(items), np.bool_)
        self._banded = np.array([item.deadband is not None for item in items], np.bool_)
        self._newest_ns = np.full(len(items), NO_TIME, np.int64)
        self._newest_value = np.full(len(items), math.nan)
        self._newest_quality = np.zeros(len(items), np.uint32)
        self.started_ns = 0
        self.samples = self.received = self.unstamped = self.rejected = self.overflows = 0
        self.firsts: dict[int, First] = {}
        self.holes: list[tuple[Gap, First]] = []

    def newly_mended(self) -> list[Item]:
        """The items that sent no numbers for the first time since the connection was made."""
        new = (self._readings.mended > 0) & ~self._mended_told
        self._mended_told |= new
        return [self._items[place] for place in np.flatnonzero(new).tolist()]

    def take(self, changes: Changes, published: datetime | None) -> None:
        """Hand on what one notification holds.

        Args:
            changes: the values.
            published: when the server sent them, by its clock.
        """
        time_ns = self._times(changes, published)
        known = (changes.handle > 0) & (changes.handle <= len(self._items))
        timed = time_ns != NO_TIME
        if not (known & timed).all():
            self.rejected += int((known & ~timed).sum())
            changes, time_ns = changes.chosen(known & timed), time_ns[known & timed]
        if not len(changes):
            return
        at = changes.handle.astype(np.intp) - 1
        self.received += len(at)
        if changes.odd:
            value, quality = self._readings.take_mixed(at, changes.raw(), changes.status)
        else:
            value, quality = self._readings.take_columns(at, changes.value, changes.status)
        keep: _Mask = np.ones(len(at), np.bool_)
        if self._banded[at].any():
            keep = self._far_enough(at, time_ns, value, quality)
        if self._fresh[at].any():
            keep &= ~self._take_first(at, changes, time_ns, value, quality)
        overflows = np.flatnonzero((changes.status & _OVERFLOW) == _OVERFLOW).tolist()
        for row in overflows:
            self._overflowed(row, at, time_ns, value, quality)
        self._newest_ns[at], self._newest_value[at], self._newest_quality[at] = time_ns, value, quality
        tag = self._readings.tag_id[at]
        if keep.all():
            self._inbox.put_columns(self._name, tag, time_ns, value, quality)
        elif keep.any():
            self._inbox.put_columns(self._name, tag[keep], time_ns[keep], value[keep], quality[keep])
        self.samples += int(keep.sum())

    def _times(self, changes: Changes, published: datetime | None) -> Times:
        """The source's times; where it gives none the server's, else that of the message."""
        without = changes.source_ns == NO_TIME
        if not without.any():
            return changes.source_ns
        self.unstamped += int(without.sum())
        server_ns = changes.server_ns
        server_ns = np.where(server_ns == NO_TIME, told_ns(published), server_ns)
        return np.where(without, server_ns, changes.source_ns)

    def _far_enough(self, at: Places, time_ns: Times, value: Values, quality: Qualities) -> _Mask:
        """Which samples a dead band lets through; those of a tag that has none pass."""
        keep = np.ones(len(at), np.bool_)
        for row in np.flatnonzero(self._banded[at]).tolist():
            band = self._items[at[row]].deadband
            if band is not None:
                keep[row] = band.passes(int(time_ns[row]), float(value[row]), int(quality[row]))
        if not keep.all():
            self._inbox.alive(self._name, int(time_ns[~keep].max()))
        return keep

    def _take_first(
        self, at: Places, changes: Changes, time_ns: Times, value: Values, quality: Qualities
    ) -> _Mask:
        """Hand on what came for the first time, with when the source stood by it; gives the rows."""
        taken = np.zeros(len(at), np.bool_)
        places, rows = np.unique(at, return_index=True)
        for place, row in zip(places.tolist(), rows.tolist(), strict=True):
            if not self._fresh[place]:
                continue
            self._fresh[place], taken[row] = False, True
            first = First(int(time_ns[row]), float(value[row]), int(quality[row]))
            tag = self._items[place].reading.tag.id
            self.firsts[tag] = first
            confirmed_ns = max(int(changes.server_ns[row]), self.started_ns) if self._wall else 1
            self._inbox.put(self._name, tag, first.time_ns, first.value, first.quality, confirmed_ns)
            self.samples += 1
        return taken

    def _overflowed(self, row: int, at: Places, time_ns: Times, value: Values, quality: Qualities) -> None:
        """Mark that something is missing right before a sample, and remember the hole."""
        self.overflows += 1
        place = int(at[row])
        before = np.flatnonzero(at[:row] == place)
        if len(before):
            last = before[-1]
            known = int(time_ns[last]), float(value[last]), int(quality[last])
        else:
            newest = self._newest_ns[place], self._newest_value[place], self._newest_quality[place]
            known = int(newest[0]), float(newest[1]), int(newest[2])
        mark_ns, until_ns = known[0] + MARK_AFTER_NS, int(time_ns[row])
        if known[0] == NO_TIME or mark_ns >= until_ns:
            return
        tag = self._items[place].reading.tag.id
        self._inbox.put(self._name, tag, mark_ns, math.nan, NO_DATA)
        first = First(until_ns, float(value[row]), int(quality[row]))
        self.holes.append((Gap(tag, *known, mark_ns, until_ns), first))
