"""Which samples newer ones have overtaken, and what the clock that stamps them says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from historian.frame import NS
from simulator.published import Sample

# Fast sensors give several samples in the second that is published: none of them is late.
_LATE_NS: Final = 2 * NS


def part(samples: Sequence[Sample]) -> tuple[list[Sample], list[Sample]]:
    """The overtaken among the samples that are published together, and the others; each in their order.

    A source that was held back lets go of all at once: only the newest of each tag says what is now. A clock
    that was set back makes nothing late: what comes last is of now, whatever its time.
    """
    newest = {sample.column: sample.time_ns for sample in samples}
    late: list[Sample] = []
    of_now: list[Sample] = []
    for sample in samples:
        (late if newest[sample.column] - sample.time_ns >= _LATE_NS else of_now).append(sample)
    return late, of_now


@dataclass(slots=True)
class SourceClock:
    """The clock that stamps samples.

    Attributes:
        ahead_ns: how far it is ahead of what the line says.
    """

    ahead_ns: int = 0

    def skew(self, seconds: float) -> None:
        """Set it on by so much, or back."""
        self.ahead_ns += round(seconds * 1000) * (NS // 1000)

    def stamped(self, samples: Sequence[Sample]) -> list[Sample]:
        """The samples with the times that this clock gives them."""
        if not self.ahead_ns:
            return list(samples)
        return [replace(s, time_ns=s.time_ns + self.ahead_ns) for s in samples]
