"""What edge nodes deliver late: kept under its own times, and put into the gaps that it fills."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from collector.columns import Columns
from collector.gaps.marks import Gap
from collector.gaps.refill import fill
from historian.frame import Frame, Series

_GAPS = 64  # of each tag


class Late:
    """Late samples wait here until the gaps that they may fill are known.

    The mark of a gap moves behind the last sample that fills it; the rest of the gap stays explicit, because
    no node says that it has told everything.
    """

    def __init__(self) -> None:
        self._gaps: dict[int, list[Gap]] = {}
        self._waiting: list[tuple[int, Columns]] = []
        self.delivered = 0

    def ended(self, gaps: Iterable[Gap]) -> None:
        """These gaps have ended."""
        for gap in gaps:
            own = self._gaps.setdefault(gap.tag, [])
            own.append(gap)
            del own[:-_GAPS]

    def add(self, columns: Columns, now_ns: int) -> None:
        """Samples that are not of now."""
        self._waiting.append((now_ns, columns))

    def due(self, before_ns: int) -> Frame | None:
        """What to keep of all that arrived before a moment; arrival and epoch are whoever's who takes it."""
        due = [columns for now_ns, columns in self._waiting if now_ns < before_ns]
        if not due:
            return None
        self._waiting = [item for item in self._waiting if item[0] >= before_ns]
        one = Columns.joined(due).in_order()
        self.delivered += len(one)
        starts = one.starts()
        parts: list[tuple[int, Series]] = []
        for start, stop in zip(starts, [*starts[1:], len(one)], strict=True):
            tag = int(one.tag[start])
            series = Series(one.time_ns[start:stop], one.value[start:stop], one.quality[start:stop])
            parts.extend((tag, part) for part in self._fill(tag, series) if len(part))
        return Frame.of(
            np.concatenate([np.full(len(s), tag, np.int32) for tag, s in parts]),
            np.concatenate([s.time_ns for _, s in parts]),
            np.concatenate([s.value for _, s in parts]),
            np.concatenate([s.quality for _, s in parts]),
            arrival_ns=0,
        )

    def _fill(self, tag: int, series: Series) -> Iterable[Series]:
        """The series in parts: what lies in a gap with the marks that belong to it, and all the rest."""
        rest = np.ones(len(series), np.bool_)
        left: list[Gap] = []
        for gap in self._gaps.get(tag, ()):
            inside = (series.time_ns > gap.since_ns) & (series.time_ns < gap.until_ns)
            if not inside.any():
                left.append(gap)
                continue
            rest &= ~inside
            kept, still = fill(gap, _chosen(series, inside))
            yield kept
            if still is not None:
                left.append(still)
        self._gaps[tag] = left
        yield _chosen(series, rest)


def _chosen(series: Series, which: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> Series:
    return Series(series.time_ns[which], series.value[which], series.quality[which])
