"""What recent.db holds of a window, put beside what the archive holds of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from historian.archive.columns import Columns, FrameTable
from historian.embedded.rows import Row

Numbers = NDArray[np.int32]


def unsealed(
    rows: Sequence[Row], wanted: Numbers, start_ns: int, end_ns: int, *, after: int
) -> tuple[Columns, FrameTable]:
    """The samples of some tags in [start, end), in order of arrival, and the frames they came in.

    Args:
        rows: in order of arrival.
        wanted: tag numbers.
        after: frames up to this number are sealed, and passed over.
    """
    parts: list[Columns] = []
    for row in rows:
        inside = np.isin(row.tag, wanted) & (row.time_ns >= start_ns) & (row.time_ns < end_ns)
        if row.first_seq <= after:
            inside &= row.numbers() > after
        if inside.any():
            parts.append(Columns(row.tag, row.time_ns, row.numbers(), row.value, row.quality).where(inside))
    return Columns.joined(parts), FrameTable.union([frame_table(row) for row in rows])


def frame_table(row: Row) -> FrameTable:
    """The frames in a row."""
    seq = row.first_seq + np.arange(len(row.heads), dtype=np.int64)
    return FrameTable(seq, row.heads["arrival_ns"], row.heads["clock_epoch"])


def by_tag(samples: Columns, wanted: Numbers) -> dict[int, Columns]:
    """Samples that are sorted by tag, apart for each of the wanted ones."""
    low, high = (np.searchsorted(samples.tag, wanted, side=s).tolist() for s in ("left", "right"))
    return {int(number): samples.where(slice(a, b)) for number, a, b in zip(wanted, low, high, strict=True)}


def beside(sealed: Columns, fresh: Columns) -> Columns | None:
    """Both as one where no time of a tag stands in both; None where they have to be merged.

    Args:
        sealed, fresh: samples of one tag, each sorted by time.
    """
    if len(fresh) == 0 or len(sealed) == 0:
        return sealed if len(sealed) else fresh
    if sealed.time_ns[-1] < fresh.time_ns[0]:
        return Columns.joined([sealed, fresh])
    at = np.searchsorted(sealed.time_ns, fresh.time_ns)
    there = at < len(sealed)
    if (sealed.time_ns[at[there]] == fresh.time_ns[there]).any():
        return None
    both = Columns.joined([sealed, fresh])
    return both.where(np.argsort(both.time_ns, kind="stable"))
