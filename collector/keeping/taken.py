"""What the sources have handed in and nobody has cut yet: on any thread, and never too much."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from threading import Lock

from collector.columns import Columns
from collector.entry import LOST, Entry, together
from collector.keeping.dropped import Dropped
from historian.event import Event
from historian.frame import Frame

Receipt = Callable[[], None]
"""Called on the event loop once the samples that it came with are on disk."""


@dataclass(frozen=True, slots=True)
class Batch:
    """What was taken between two cuts.

    Attributes:
        entries: of each source by name, in the order in which they came; what was dropped is marked first.
        receipts: what is due with a source's entries.
        lots: sources and their old samples, to be kept as they are.
        lot_receipts: what is due with the lots.
        events: what is to be said of what was dropped.
    """

    entries: dict[str, list[Entry]]
    receipts: dict[str, list[Receipt]]
    lots: list[tuple[str, Frame]]
    lot_receipts: list[Receipt]
    events: list[Event]


class Taken:
    """Holds entries and lots until the next cut.

    Args:
        limit: samples held at most; beyond that the oldest are dropped, and said. Lots do not count.
    """

    def __init__(self, limit: int) -> None:
        self._limit = limit
        self._lock = Lock()
        self._entries: deque[tuple[str, Entry, Receipt | None]] = deque()
        self._samples = 0
        self._lots: list[tuple[str, Frame]] = []
        self._lot_receipts: list[Receipt] = []
        self._dropped: dict[str, Dropped] = {}
        self._lost: set[str] = set()

    def add(self, source: str, entry: Entry, samples: int, receipt: Receipt | None = None) -> None:
        """Take an entry that holds so many samples."""
        with self._lock:
            self._entries.append((source, entry, receipt))
            self._samples += samples
            while self._samples > self._limit and len(self._entries) > 1:
                self._drop_oldest()

    def add_lot(self, source: str, frame: Frame, receipt: Receipt | None) -> None:
        """Take old samples that are to be kept as they are."""
        with self._lock:
            self._lots.append((source, frame))
            if receipt is not None:
                self._lot_receipts.append(receipt)

    def cut(self, sources: Iterable[str], now_ns: int) -> Batch:
        """Everything since the last cut; hands it over.

        Args:
            sources: the names of all.
            now_ns: for what is said of it.
        """
        with self._lock:
            taken, self._entries, self._samples = self._entries, deque(), 0
            lots, self._lots = self._lots, []
            lot_receipts, self._lot_receipts = self._lot_receipts, []
            dropped, self._dropped = self._dropped, {}
            lost, self._lost = self._lost, set()
        entries = {name: _marks(dropped.get(name), is_lost=name in lost) for name in sources}
        receipts: dict[str, list[Receipt]] = {}
        for source, entry, receipt in taken:
            entries[source].append(entry)
            if receipt is not None:
                receipts.setdefault(source, []).append(receipt)
        joined = {name: together(some) for name, some in entries.items()}
        why = f"more than {self._limit} waited for the writer, the last of source"
        events = [d.event(now_ns, f"{why} {name}") for name, d in dropped.items() if d]
        return Batch(joined, receipts, lots, lot_receipts, events)

    def _drop_oldest(self) -> None:
        # Its receipt goes with it: who waits for one has to send again.
        source, entry, _ = self._entries.popleft()
        dropped = self._dropped.setdefault(source, Dropped())
        if isinstance(entry, Columns):
            self._samples -= len(entry)
            for tag, time_ns in zip(entry.tag.tolist(), entry.time_ns.tolist(), strict=True):
                dropped.add(0, tag, time_ns)
        elif entry[0] == LOST:
            self._lost.add(source)
        elif entry[0] >= 0:
            self._samples -= 1
            dropped.add(0, entry[0], entry[1])


def _marks(dropped: Dropped | None, *, is_lost: bool) -> list[Entry]:
    """Entries that stand for what was dropped of a source."""
    rows: list[Entry] = [(*mark, 0) for mark in dropped.marks(0)] if dropped else []
    if is_lost:
        rows.append((LOST, 0, math.nan, 0, 0))
    return rows
