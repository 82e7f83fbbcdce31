"""Where a gap begins in the store, and when a value that came back counts as known again.

When a source is lost, each of its tags gets one sample without a value just after the newest one, so that
nothing bridges the gap.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

MARK_AFTER_NS = 1_000_000
"""A gap's mark stands this much after the newest sample."""

_SLACK_NS = 2_000_000_000


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch of a tag of which nothing is known.

    Attributes:
        tag: its number.
        since_ns, value, quality: the last sample before it; a quality of BadNoData when that is not known.
        mark_ns: where its mark stands in the store.
        until_ns: the first sample after it.
        lasting: whether something is known to be lost right after the last sample, whatever is found later.
    """

    tag: int
    since_ns: int
    value: float
    quality: int
    mark_ns: int
    until_ns: int
    lasting: bool = False


class GapMarks:
    """The open gap of each tag of one source."""

    def __init__(self) -> None:
        self._marks: dict[int, int] = {}

    def open(self, newest_ns: Iterable[tuple[int, int]], source_ns: int | None) -> list[tuple[int, int]]:
        """Begin a gap for each tag that is not in one already.

        Args:
            newest_ns: (tag number, source time of its newest sample).
            source_ns: the newest source time of the whole source, where it is known.

        Returns:
            (tag number, time of its mark).
        """
        begun = [
            (tag, max(time_ns, source_ns or time_ns) + MARK_AFTER_NS)
            for tag, time_ns in newest_ns
            if tag not in self._marks
        ]
        self._marks.update(begun)
        return begun

    def mark_ns(self, tag: int) -> int | None:
        """Where the mark of a tag's open gap stands; None when it has none."""
        return self._marks.get(tag)

    def adopt(self, tag: int, mark_ns: int) -> None:
        """A gap that was marked before this one took over."""
        self._marks[tag] = mark_ns

    def close(self, tag: int, time_ns: int, now_ns: int, *, first: bool) -> int:
        """The time under which the first value after a gap is kept; ends the tag's gap.

        A value that changes rarely comes back with the time of its last change, from before the gap. The
        source confirms it as current when it sends it, so it counts from then on, not from before.

        Args:
            tag: its number.
            time_ns: source time of the value.
            now_ns: the source's own time when it sent the value.
            first: whether it is the first value of the tag since the source came back.
        """
        mark_ns = self._marks.pop(tag, None)
        if mark_ns is None or time_ns > mark_ns or not first:
            return time_ns
        if now_ns > mark_ns:
            return now_ns
        # A clock that really went back must be seen as that; within the slack it is only unrest of the clock.
        return mark_ns + MARK_AFTER_NS if now_ns > mark_ns - _SLACK_NS else time_ns

    def heal(self, tag: int) -> int:
        """End a tag's gap, because there was none; gives the time of its mark."""
        return self._marks.pop(tag)

    def clear(self) -> None:
        """Forget all gaps: the source's clock stepped, older times mean nothing any more."""
        self._marks.clear()

    def __contains__(self, tag: int) -> bool:
        return tag in self._marks

    def __len__(self) -> int:
        return len(self._marks)
