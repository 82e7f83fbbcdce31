"""Long windows: answered from rollups where these stand for the samples, from the samples elsewhere."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from historian.archive.columns import Columns
from historian.archive.reader import ArchiveReader
from historian.embedded.recent import Recent
from historian.envelope import Envelope
from historian.frame import Series
from historian.rollups.columns import HOUR_NS, MINUTE_NS, Rollup, coarser, joined, rollup_of, together, united
from historian.rollups.files import RollupReader
from historian.rollups.outline import Piece, interval_for, pieces, rolled_envelope

Samples = Callable[[Sequence[int], int, int], dict[int, Columns]]
"""Gives the merged samples of some tags in [start, end)."""

_STEP_NS: Final = HOUR_NS
# So many samples of one tag are read as fast as the rollups of them.
_FEW: Final = 200_000


class LongView:
    """Answers of one store for windows that are too long to read whole."""

    def __init__(self, archive: ArchiveReader, rollups: RollupReader, recent: Recent) -> None:
        self._archive = archive
        self._rollups = rollups
        self._recent = recent

    def envelope(
        self, number: int, start_ns: int, end_ns: int, columns: int, samples: Samples
    ) -> Envelope | None:
        """The outline of a tag with the help of rollups; None where the samples themselves are to be asked.

        Rollups help where an interval is no wider than a pixel column, and where the samples have gone.
        """
        self._rollups.refresh()
        interval_ns = interval_for(start_ns, end_ns, columns, self._kept())
        few = self._archive.samples_of(number, start_ns, end_ns) <= _FEW
        has_gone = any(self._gone(kept, start_ns, end_ns) for kept in self._kept())
        if (interval_ns is None or few) and not has_gone:
            return None
        # Where only rollups are left, a minute is the finest there is.
        wanted_ns = interval_ns or MINUTE_NS
        parts: list[Rollup | Series] = []
        for piece in self._pieces(start_ns, end_ns, wanted_ns, all_raw=interval_ns is None):
            if piece.is_rolled:
                parts.append(self._finest(number, wanted_ns, piece.start_ns, piece.end_ns))
                continue
            found = samples([number], piece.start_ns, piece.end_ns)[number]
            old = self._only_rolled(wanted_ns, piece, tag=number)
            new = (
                rollup_of(found.tag, found.time_ns, found.value, found.quality, wanted_ns)
                if len(old)
                else old
            )
            parts.append(together(old, new) if len(old) else found.series())
        return rolled_envelope(parts, start_ns, end_ns, columns)

    def rollup(
        self, numbers: Sequence[int], start_ns: int, end_ns: int, interval_ns: int, samples: Samples
    ) -> Rollup:
        """Rows of whole intervals of some tags, sorted by tag, then start."""
        self._rollups.refresh()
        fitting = [kept for kept in self._kept() if interval_ns % kept == 0]
        if not fitting:
            return self._from_samples(numbers, start_ns, end_ns, interval_ns, samples)
        base_ns = max(fitting)
        wanted = np.array(sorted(set(numbers)), dtype=np.int32)
        parts = []
        for piece in self._pieces(start_ns, end_ns, base_ns, all_raw=False):
            if piece.is_rolled:
                rows = self._rollups.read(base_ns, piece.start_ns, piece.end_ns)
                whole = np.isin(rows.tag, wanted)
                parts.append(rows if whole.all() else rows.take(whole))
                continue
            found = self._from_samples(numbers, piece.start_ns, piece.end_ns, base_ns, samples)
            old = self._only_rolled(base_ns, piece)
            # Of a torn interval nobody knows what lies inside the window.
            inside = (old.start_ns >= start_ns) & (old.start_ns + base_ns <= end_ns)
            old = old.take(np.isin(old.tag, wanted) & inside)
            parts.append(together(old, found) if len(old) else found)
        found = joined(parts)
        return found if base_ns == interval_ns else coarser(found, interval_ns)

    def _kept(self) -> set[int]:
        return {f.interval_ns for f in self._rollups.listed.files}

    def _pieces(self, start_ns: int, end_ns: int, interval_ns: int, *, all_raw: bool) -> list[Piece]:
        """The window cut into what rollups answer and what the samples must.

        Args:
            all_raw: take the samples wherever there are any.
        """
        # In this order: what is sealed between the two is a segment that no rollup has yet.
        raw = self._recent.spans(start_ns, end_ns)
        segments = self._archive.refresh().between(start_ns, end_ns)
        behind = segments if all_raw else self._rollups.listed.behind(segments, interval_ns)
        raw.extend((s.start_ns, s.end_ns) for s in behind)
        return pieces(start_ns, end_ns, interval_ns, raw)

    def _gone(self, interval_ns: int, start_ns: int, end_ns: int) -> list[tuple[int, int]]:
        """The stretches of a window that were rolled up and whose samples are not there any more."""
        segments = self._archive.refresh().segments
        return self._rollups.listed.gone(interval_ns, segments, start_ns, end_ns)

    def _only_rolled(self, interval_ns: int, piece: Piece, tag: int | None = None) -> Rollup:
        """The rows of a piece whose samples have gone; late ones may have come since and stand beside."""
        return joined(
            [
                self._rollups.read(interval_ns, low // interval_ns * interval_ns, high, tag=tag)
                for low, high in self._gone(interval_ns, piece.start_ns, piece.end_ns)
            ]
        )

    def _finest(self, number: int, interval_ns: int, start_ns: int, end_ns: int) -> Rollup:
        """The rows of a tag; where those of the interval have gone, the next longer ones."""
        parts = [self._rollups.read(interval_ns, start_ns, end_ns, tag=number)]
        longer_ns = min((kept for kept in self._kept() if kept > interval_ns), default=None)
        if longer_ns is not None:
            at = start_ns
            edges = [
                (f.start_ns, f.end_ns) for f in self._rollups.listed.between(interval_ns, start_ns, end_ns)
            ]
            for low, high in [*edges, (end_ns, end_ns)]:
                if at < low:
                    parts.append(self._finest(number, longer_ns, at, low))
                at = max(at, high)
        return joined(parts)

    def _from_samples(
        self, numbers: Sequence[int], start_ns: int, end_ns: int, interval_ns: int, samples: Samples
    ) -> Rollup:
        """Rolled up here and now; an hour at a time where something is not sealed yet."""
        parts = []
        for piece in pieces(start_ns, end_ns, _STEP_NS, self._recent.spans(start_ns, end_ns)):
            low, high = piece.start_ns, piece.end_ns
            if piece.is_rolled:
                parts.append(self._archive.rollup(numbers, low, high, interval_ns))
                continue
            for at in range(low // _STEP_NS * _STEP_NS, high, _STEP_NS):
                found = samples(numbers, max(at, low), min(at + _STEP_NS, high))
                whole = Columns.joined([found[n] for n in sorted(found)])
                parts.append(rollup_of(whole.tag, whole.time_ns, whole.value, whole.quality, interval_ns))
        return united(joined(parts), interval_ns)
