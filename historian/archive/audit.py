"""What was sent but is not among the samples: overwritten, repeated, or kept with a lower quality."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from historian.archive.columns import Columns, FrameTable, Merged, Seqs, modified_of, within
from historian.store import Modified


@dataclass(frozen=True, slots=True)
class Audit:
    """Samples as they came, one row each, sorted by tag, source time and arrival number.

    Attributes:
        rows: the samples.
        replaced_by: the number of the frame that changed it; -1 where a later one only repeated it, -2 where
            it stands among the samples with a lower quality, or did so before it was replaced.
    """

    rows: Columns
    replaced_by: Seqs

    def __len__(self) -> int:
        return len(self.rows)

    @property
    def is_replaced(self) -> NDArray[np.bool_]:
        """Which of them were modified."""
        found: NDArray[np.bool_] = self.replaced_by >= 0
        return found

    @classmethod
    def of(cls, merged: Merged) -> Self:
        """What a merging left over."""
        return cls._sorted(merged.left, merged.reason)

    @classmethod
    def joined(cls, parts: Sequence[Self]) -> Self:
        """All of the parts."""
        if not parts:
            return cls(Columns.joined([]), np.empty(0, dtype=np.int64))
        return cls._sorted(
            Columns.joined([p.rows for p in parts]), np.concatenate([p.replaced_by for p in parts])
        )

    @classmethod
    def _sorted(cls, rows: Columns, replaced_by: Seqs) -> Self:
        order = np.lexsort((rows.seq, rows.time_ns, rows.tag))
        return cls(rows.where(order), replaced_by[order])

    def between(self, first_seq: int, last_seq: int) -> Self:
        """Those in the frames from one number to another, both taken in."""
        chosen = (self.rows.seq >= first_seq) & (self.rows.seq <= last_seq)
        return type(self)(self.rows.where(chosen), self.replaced_by[chosen])

    def outside(self, windows: Sequence[tuple[int, int]]) -> Self:
        """Those whose source time lies in none of the windows [start, end)."""
        chosen = ~within(self.rows.time_ns, windows)
        return type(self)(self.rows.where(chosen), self.replaced_by[chosen])

    def modified(self, tag: int, start_ns: int, end_ns: int, frames: FrameTable) -> list[Modified]:
        """What later writes of a tag replaced in [start, end); ``frames`` holds every number."""
        rows = self.rows
        chosen = self.is_replaced & (rows.tag == tag) & (rows.time_ns >= start_ns) & (rows.time_ns < end_ns)
        return modified_of(rows.where(chosen), self.replaced_by[chosen], frames)
