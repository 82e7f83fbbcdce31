"""What a host knows of its tags: the newest sample of each, and which it does not stand by any more."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from collector.columns import Columns
from collector.gaps.marks import MARK_AFTER_NS, Gap
from historian.frame import TagIds, Times

Places = NDArray[np.intp]

_NEVER: Final = -(2**62)


class Known:
    """By the place of a tag in the source's list.

    Args:
        tag: numbers of the tags, shape (n,).
    """

    def __init__(self, tag: TagIds) -> None:
        n = len(tag)
        self._tag = tag
        self._newest_ns = np.full(n, _NEVER, np.int64)
        self._value = np.full(n, np.nan)
        self._quality = np.zeros(n, np.uint32)
        self._stale = np.ones(n, np.bool_)
        self._marks: dict[int, Gap] = {}

    def take(self, at: Places, columns: Columns) -> None:
        """These samples were handed on."""
        self._newest_ns[at] = columns.time_ns
        self._value[at] = columns.value
        self._quality[at] = columns.quality
        self._stale[at] = False

    def lost(self) -> None:
        """Nothing is known of now; whoever holds the samples marks the gap."""
        self._stale[:] = True
        self._marks.clear()

    def mark(self, at: Places, time_ns: int, quality: int) -> Columns:
        """One sample without a value for each of these tags that was stood by until now.

        Args:
            time_ns: from when on nothing is known, in the source's time; never before what is known.
        """
        at = at[~self._stale[at]]
        times = np.maximum(self._newest_ns[at] + MARK_AFTER_NS, time_ns)
        for place, mark_ns in zip(at.tolist(), times.tolist(), strict=True):
            since_ns, value = int(self._newest_ns[place]), float(self._value[place])
            self._marks[place] = Gap(
                int(self._tag[place]), since_ns, value, int(self._quality[place]), mark_ns, mark_ns + 1
            )
        self._newest_ns[at] = times
        self._stale[at] = True
        n = len(at)
        return Columns(self._tag[at], times, np.full(n, np.nan), np.full(n, quality, np.uint32))

    def at_birth(self, at: Places, time_ns: Times, born_ns: int) -> tuple[NDArray[np.bool_], Times]:
        """Which values of a birth say something new, and the times under which they are kept.

        A birth repeats what a node knows, with the times of its last changes. A tag that was stood by all the
        time has them already; of one that was not, the value is known again from the birth on.

        Args:
            born_ns: when it was, in the clock that stamps the values.
        """
        newest_ns = self._newest_ns[at]
        new = time_ns > newest_ns
        again_ns = np.maximum(newest_ns + MARK_AFTER_NS, born_ns)
        return self._stale[at] | new, np.where(new, time_ns, again_ns)

    def ended(self, at: Places, time_ns: Times) -> list[Gap]:
        """The gaps that end with these samples, which are about to be taken."""
        return [
            Gap(m.tag, m.since_ns, m.value, m.quality, m.mark_ns, until_ns)
            for place, until_ns in zip(at.tolist(), time_ns.tolist(), strict=True)
            if (m := self._marks.pop(place, None)) is not None and until_ns > m.mark_ns
        ]
