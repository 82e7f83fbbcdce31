"""What is kept of a batch in one clock epoch, on its way to a frame; pure."""

from __future__ import annotations

from dataclasses import dataclass, field

from collector.columns import Columns
from collector.entry import Row
from historian.frame import Frame


@dataclass(slots=True)
class Kept:
    """Columns first, single rows after them."""

    epoch: int
    columns: list[Columns] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)

    def frame(self, arrival_ns: int) -> Frame:
        """All of it as one frame."""
        parts = self.columns
        if self.rows:
            tag, time_ns, value, quality, _ = zip(*self.rows, strict=True)
            parts = [*parts, Columns.of(tag, time_ns, value, quality)]
        one = Columns.joined(parts)
        if len(parts) == 1 and not self.rows:
            # In order already: ``Stream`` sorts columns by tag and time.
            return Frame(one.tag, one.time_ns, one.value, one.quality, arrival_ns, self.epoch)
        return Frame.of(
            one.tag, one.time_ns, one.value, one.quality, arrival_ns=arrival_ns, clock_epoch=self.epoch
        )
