"""Writes samples to a store, each only where the store does not hold it already."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from historian.exchange._plan import Plan
from historian.exchange._samples import Samples
from historian.exchange.report import ImportReport, TagTotal
from historian.frame import Frame, Series
from historian.quality import UNCERTAIN, is_good
from historian.store import Store

_SAMPLES_IN_FRAME = 50_000


class Keeper:
    """Keeps samples and counts them; in a dry run it counts only.

    Tags become known at the first sample, so that a file without one leaves the store as it was.
    """

    def __init__(self, store: Store, plan: Plan, report: ImportReport, now_ns: int) -> None:
        self._store = store
        self._plan = plan
        self._report = report
        self._now_ns = now_ns
        self._known = store.tags()
        self._ready = False
        for column in plan.columns:
            report.tags[column.tag.path] = TagTotal(column.tag)

    def keep(self, samples: Samples) -> None:
        """Write what the store does not hold, in frames of a size that memory bears."""
        new = np.zeros(len(samples), np.bool_)
        paths = [self._plan.columns[k].tag.path for k in np.unique(samples.column)]
        known = [p for p in paths if p in self._known]
        start, end = int(samples.time_ns.min()), int(samples.time_ns.max()) + 1
        stored = self._store.read(known, start, end) if known else {}
        for k in np.unique(samples.column).tolist():
            path = self._plan.columns[k].tag.path
            here = np.flatnonzero(samples.column == k)
            same, other = compared(samples, here, stored.get(path, Series.empty()))
            new[here[~same]] = True
            total = self._report.tags[path]
            bad = int((~is_good(samples.quality[here])).sum())
            total.take(samples.time_ns[here], samples.value[here], bad)
            total.replaced += int(other.sum())
            total.new += int((~same & ~other).sum())
        if not self._report.dry_run:
            self._append(samples, np.flatnonzero(new))

    def empty(self, columns: Sequence[int], start_ns: int, end_ns: int) -> list[int]:
        """The columns whose tags have no sample in a window."""
        paths = {k: self._plan.columns[k].tag.path for k in columns}
        known = list({p for p in paths.values() if p in self._known})
        stored = self._store.read(known, start_ns, end_ns) if known else {}
        return [k for k, p in paths.items() if len(stored.get(p, ())) == 0]

    def _append(self, samples: Samples, rows: NDArray[np.intp]) -> None:
        if len(rows) == 0:
            return
        if not self._ready:
            self._known = self._store.register(c.tag for c in self._plan.columns if c.tag.id == 0)
            self._ready = True
        numbers = np.array([self._known[c.tag.path].id for c in self._plan.columns], np.int32)
        rows = rows[np.argsort(samples.time_ns[rows], kind="stable")]
        for part in np.split(rows, range(_SAMPLES_IN_FRAME, len(rows), _SAMPLES_IN_FRAME)):
            self._store.append(
                Frame.of(
                    numbers[samples.column[part]],
                    samples.time_ns[part],
                    samples.value[part],
                    samples.quality[part],
                    arrival_ns=self._now_ns,
                )
            )


def compared(
    samples: Samples, here: NDArray[np.intp], stored: Series
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which samples the store holds alike, and which it holds with another value or quality.

    The store may hold a time twice, from two clock epochs: either counts, and a good one is given back as
    uncertain there, which does not make it another.

    Args:
        here: places of one tag's samples, shape (m,).

    Returns:
        two masks, shape (m,).
    """
    time_ns, value, quality = samples.time_ns[here], samples.value[here], samples.quality[here]
    low = np.searchsorted(stored.time_ns, time_ns, side="left")
    high = np.searchsorted(stored.time_ns, time_ns, side="right")
    same = np.zeros(len(here), np.bool_)
    for step in range(int((high - low).max(initial=0))):
        there = np.flatnonzero(low + step < high)
        k = low[there] + step
        alike = (stored.value[k] == value[there]) | (np.isnan(stored.value[k]) & np.isnan(value[there]))
        doubted = (high - low)[there] > 1
        doubted &= is_good(quality[there]) & (stored.quality[k] == quality[there] | np.uint32(UNCERTAIN))
        same[there] |= alike & ((stored.quality[k] == quality[there]) | doubted)
    return same, (high > low) & ~same
