"""What a source hands in: samples one by one, many at once, and what happened between them."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby
from typing import Final

from collector.columns import Columns

Row = tuple[int, int, float, int, int]
"""Tag number (or LOST, ALIVE, HEALED, SHIFTED), source time, value, quality, and for the first value of a tag
since the source came back the source's own time at that moment (1 when it is not known), else 0."""

Entry = Row | Columns
"""What a source handed in."""

LOST: Final = -1
ALIVE: Final = -2
HEALED: Final = -3
SHIFTED: Final = -4
"""From here on in another clock epoch; the value is 1 where the times of the one before lie beyond."""


def together(entries: Iterable[Entry]) -> list[Entry]:
    """The same samples in the same order, columns that follow each other as one: one by one is dear."""
    found: list[Entry] = []
    for kind, some in groupby(entries, lambda e: e.resent if isinstance(e, Columns) else None):
        if kind is None:
            found.extend(some)
        else:
            found.append(Columns.joined([e for e in some if isinstance(e, Columns)]))
    return found
