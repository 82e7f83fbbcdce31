"""Long windows: answered from rollups where these stand for the samples, from the samples elsewhere."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from historian.archive.columns import Columns
from historian.archive.reader import ArchiveReader
from historian.envelope import Envelope
from historian.frame import Series
from historian.recent import Recent
from historian.rolled_envelope import Piece, interval_for, pieces, rolled_envelope
from historian.rollup_files import RollupReader
from historian.rollups import HOUR_NS, MINUTE_NS, Rollup, coarser, joined, rollup_of, united

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
        if (interval_ns is None or few) and not self._has_gone(start_ns, end_ns):
            return None
        # Where only rollups are left, a minute is the finest there is.
        wanted_ns = interval_ns or MINUTE_NS
        parts: list[Rollup | Series] = []
        for piece in self._pieces(start_ns, end_ns, wanted_ns, all_raw=interval_ns is None):
            if piece.is_rolled:
                parts.append(self._rollups.read(wanted_ns, piece.start_ns, piece.end_ns, tag=number))
            else:
                parts.append(samples([number], piece.start_ns, piece.end_ns)[number].series())
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
            else:
                parts.append(self._from_samples(numbers, piece.start_ns, piece.end_ns, base_ns, samples))
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

    def _has_gone(self, start_ns: int, end_ns: int) -> bool:
        """Whether there are minutes in the window whose samples are not there any more."""
        files = self._rollups.listed.between(MINUTE_NS, start_ns, end_ns)
        there = [(s.start_ns, s.end_ns) for s in self._archive.refresh().between(start_ns, end_ns)]
        return any(
            not any(low <= start and end <= high for low, high in there)
            for file in files
            for start, end, _ in file.sources
            if start < end_ns and end > start_ns
        )

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
