"""Frames that wait for the store: none is lost while the disk is full, up to a limit that is said."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from threading import Lock

from collector.keeping.dropped import Dropped
from historian.frame import Frame

_AT_ONCE = 200_000


class Backlog:
    """A bounded queue of frames with one batch in the making.

    ``add`` is called on the event loop's thread, the rest on the writer's.

    Args:
        limit: samples held at most; beyond that the oldest waiting frames are dropped.

    Attributes:
        cut_ns: arrival time up to which everything has been added.
    """

    def __init__(self, limit: int) -> None:
        self._limit = limit
        self._waiting: deque[Frame] = deque()
        self._taken: list[Frame] = []
        self._receipts: deque[tuple[int, int, Callable[[], None]]] = deque()
        self._added = self._passed = 0  # frames, by which receipts know theirs
        self._samples = 0
        self._dropped, self._taken_dropped = Dropped(), Dropped()
        self._dropped_arrival_ns = 0
        self.cut_ns = 0
        self._lock = Lock()

    @property
    def samples(self) -> int:
        """Samples waiting or in the making."""
        return self._samples

    def add(
        self, frames: Iterable[Frame], arrival_ns: int, receipts: Iterable[Callable[[], None]] = ()
    ) -> None:
        """Let the frames of one cut wait, in order of arrival; the receipts are due when all are kept."""
        with self._lock:
            before = self._added
            for frame in frames:
                self._waiting.append(frame)
                self._samples += len(frame)
                self._added += 1
            self._receipts.extend((before, self._added, receipt) for receipt in receipts)
            while self._samples > self._limit and len(self._waiting) > 1:
                self._drop(self._waiting.popleft())
            self.cut_ns = arrival_ns

    def take(self) -> list[Frame]:
        """The oldest frames, as many as go into one transaction; they stay until ``done`` or ``put_back``.

        Where something was dropped, frames that mark the gap come first.
        """
        with self._lock:
            self._taken_dropped, self._dropped = self._dropped, Dropped()
            marks = [
                _marks(self._taken_dropped, e, self._dropped_arrival_ns) for e in self._taken_dropped.epochs()
            ]
            room = _AT_ONCE
            while self._waiting and room > 0:
                self._taken.append(self._waiting.popleft())
                room -= len(self._taken[-1])
            return [*marks, *self._taken]

    def done(self) -> Dropped:
        """What was taken is on disk; gives what was dropped before it and is now marked."""
        with self._lock:
            self._samples -= sum(len(f) for f in self._taken)
            self._passed += len(self._taken)
            self._taken = []
            marked, self._taken_dropped = self._taken_dropped, Dropped()
            return marked

    def due(self) -> list[Callable[[], None]]:
        """The receipts of what is kept by now; hands them over. What was dropped is never receipted."""
        with self._lock:
            due: list[Callable[[], None]] = []
            while self._receipts and self._receipts[0][1] <= self._passed:
                due.append(self._receipts.popleft()[2])
            return due

    def put_back(self) -> None:
        """What was taken could not be kept: it waits again, in its old place."""
        with self._lock:
            self._waiting.extendleft(reversed(self._taken))
            self._taken = []
            self._dropped.merge(self._taken_dropped)
            self._taken_dropped = Dropped()

    def _drop(self, frame: Frame) -> None:
        self._passed += 1
        number = self._passed + len(self._taken)
        self._receipts = deque(r for r in self._receipts if not r[0] < number <= r[1])
        self._samples -= len(frame)
        self._dropped_arrival_ns = frame.arrival_ns
        for tag, time_ns in zip(frame.tag.tolist(), frame.time_ns.tolist(), strict=True):
            self._dropped.add(frame.clock_epoch, tag, time_ns)


def _marks(dropped: Dropped, epoch: int, arrival_ns: int) -> Frame:
    tag, time_ns, value, quality = zip(*dropped.marks(epoch), strict=True)
    return Frame.of(tag, time_ns, value, quality, arrival_ns=arrival_ns, clock_epoch=epoch)
