"""Frames joined into longer lots: judging an old trial need not go second by second."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from historian.frame import NS, Frame, concatenate

LOT_S = 10
"""Seconds of arrival in one lot. The rules judge ten seconds after ten seconds, and those of sources take a
longer pause for one of the recorder's own."""


def lots(frames: Iterable[tuple[int, Frame]], lot_s: int = LOT_S) -> Iterator[tuple[int, Frame]]:
    """The frames that arrived within one lot as one, numbered by the last of them.

    A frame holds samples of one clock epoch: within a lot, those of another epoch stay apart, in their order.

    Args:
        frames: with their arrival numbers, in order of arrival.
        lot_s: whole seconds.
    """
    waiting: list[tuple[int, Frame]] = []
    at = 0
    for number, frame in frames:
        lot = frame.arrival_ns // (lot_s * NS)
        if waiting and lot > at:
            yield from _joined(waiting)
            waiting = []
        at = lot if not waiting else at
        waiting.append((number, frame))
    yield from _joined(waiting)


def _joined(waiting: list[tuple[int, Frame]]) -> Iterator[tuple[int, Frame]]:
    arrival_ns = max((f.arrival_ns for _, f in waiting), default=0)
    by_epoch: dict[int, list[tuple[int, Frame]]] = {}
    for number, frame in waiting:
        by_epoch.setdefault(frame.clock_epoch, []).append((number, frame))
    # The engine passes over a number that is not above the one before.
    parts = sorted(by_epoch.values(), key=lambda part: part[-1][0])
    for part in parts:
        yield part[-1][0], concatenate([f for _, f in part], arrival_ns=arrival_ns)


def by_source_time(frame: Frame, lot_s: int = LOT_S) -> Iterator[tuple[int, Frame]]:
    """All samples of a trial as if each had arrived when it was taken, in lots.

    For archives that do not say when a sample arrived: what came late cannot be told from the rest there.
    """
    lot = frame.time_ns // (lot_s * NS)
    order = np.lexsort((frame.time_ns, frame.tag, lot))
    cuts = [0, *(np.flatnonzero(np.diff(lot[order])) + 1).tolist(), len(order)]
    for n in range(len(cuts) - 1):
        part = order[cuts[n] : cuts[n + 1]]
        if len(part):
            end_ns = (int(lot[part[0]]) + 1) * lot_s * NS
            columns = (frame.tag[part], frame.time_ns[part], frame.value[part], frame.quality[part])
            yield n + 1, Frame(*columns, end_ns - 1)
