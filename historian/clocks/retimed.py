"""A store read with the clock offsets that people fixed; what is kept is not altered.

A fix moves the samples of one source whose stored time lies in a stretch. What is asked for is looked up
where it is kept: the window less the fixed stretches, and of each fixed stretch what comes to lie in it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Final

import numpy as np

from historian.aggregates import Aggregate, AggregateConfig, AggregateRow, aggregate_series
from historian.clocks._retiming import (
    inhabited,
    joined_series,
    last_of,
    merged,
    pieces,
    stretches,
    surely_newest,
)
from historian.clocks.record import ClockFix
from historian.envelope import Envelope, envelope_of
from historian.frame import Frame, Series
from historian.piecewise import piecewise, reaching
from historian.rollups.columns import Rollup, joined, rollup_of
from historian.store import STANDARD, Modified, Sample, Store
from historian.tags import Tag

LOOK_BACK_NS: Final = 900 * 10**9
"""How far before a window its bounds are looked for, as the stores do."""

_AT_ONCE: Final = 500_000
_NEWEST_FRAMES: Final = (2_000, 100_000)


class Retimed:
    """A store whose samples come out at the times that the fixes give them.

    ``frames`` and ``last_number`` give what arrived, as it came: a replay judges that. Tags of sources that
    have no fix are asked of the store itself.

    Args:
        store: where the samples are.
        fixes: gives the fixes that count; asked at each call.
    """

    def __init__(self, store: Store, fixes: Callable[[], Sequence[ClockFix]]) -> None:
        self._store = store
        self._fixes = fixes

    def register(self, tags: Iterable[Tag]) -> dict[str, Tag]:
        """Make the tags known and give them their numbers."""
        return self._store.register(tags)

    def append(self, *frames: Frame) -> int:
        """Keep the frames as they are, all or none."""
        return self._store.append(*frames)

    def tags(self) -> dict[str, Tag]:
        """Every tag of the line by path."""
        return self._store.tags()

    def frames(self, after: int = 0) -> Iterator[tuple[int, Frame]]:
        """The frames as they arrived, at the times that are stored."""
        return self._store.frames(after)

    def last_number(self) -> int:
        """Arrival number of the last frame; 0 when there is none."""
        return self._store.last_number()

    def close(self) -> None:
        """Let go of files and connections."""
        self._store.close()

    def span(self) -> tuple[int, int] | None:
        """No sample lies outside of it; with fixes, the first and the last may lie inside."""
        span, fixes = self._store.span(), self._fixes()
        if span is None or not fixes:
            return span
        low, high = span
        sources = {tag.source for tag in self._store.tags().values()}
        for f in fixes:
            if f.source in sources and f.start_ns <= high and f.end_ns > low:
                low = min(low, max(f.start_ns, span[0]) + f.shift_ns)
                high = max(high, min(f.end_ns - 1, span[1]) + f.shift_ns)
        return low, high

    def read(
        self, paths: Sequence[str], start_ns: int, end_ns: int, *, bound_before: bool = False
    ) -> dict[str, Series]:
        """The samples with start ≤ time < end, each tag sorted by time."""
        moved = self._moved(paths)
        plain = [p for p in paths if p not in moved]
        found = self._store.read(plain, start_ns, end_ns, bound_before=bound_before) if plain else {}
        for path, fixes in moved.items():
            series = self._read(path, fixes, start_ns, end_ns)
            if bound_before:
                before = self._read(path, fixes, start_ns - LOOK_BACK_NS, start_ns)
                series = joined_series([last_of(before), series])
            found[path] = series
        return {path: found[path] for path in paths}

    def blocks(
        self, paths: Sequence[str], start_ns: int, end_ns: int, *, samples: int = _AT_ONCE
    ) -> Iterator[dict[str, Series]]:
        """The same piece by piece in order of time, about so many samples at once, whatever the window."""
        moved = self._moved(paths)
        if not moved:
            return self._store.blocks(paths, start_ns, end_ns, samples=samples)
        groups = [moved.get(p, []) for p in paths]
        windows = inhabited(groups, self._store.span(), start_ns, end_ns)
        return (
            block
            for low, high in windows
            for block in piecewise(self.read, paths, low, high, span=(low, high - 1), samples=samples)
        )

    def latest(self, paths: Sequence[str] | None = None) -> dict[str, Sample]:
        """The sample with the newest time of each tag that has any."""
        found = self._store.latest(paths)
        for path, fixes in self._moved(list(found)).items():
            found[path] = self._newest(path, fixes, found[path])
        return found

    def modified(self, path: str, start_ns: int, end_ns: int) -> list[Modified]:
        """What later writes replaced in the window, by time, then arrival."""
        found: list[Modified] = []
        for low, high, shift_ns in pieces(self._moved([path]).get(path, []), start_ns, end_ns):
            found += [
                Modified(m.time_ns + shift_ns, m.value, m.quality, m.arrival_ns, m.replaced_ns)
                for m in self._store.modified(path, low, high)
            ]
        return sorted(found, key=lambda m: (m.time_ns, m.arrival_ns))

    def aggregate(
        self,
        path: str,
        start_ns: int,
        end_ns: int,
        interval_ns: int,
        kind: Aggregate,
        *,
        config: AggregateConfig = STANDARD,
    ) -> list[AggregateRow]:
        """One row an interval, after OPC 10000-13, with the bounding samples however far away they are."""
        if not self._moved([path]):
            return self._store.aggregate(path, start_ns, end_ns, interval_ns, kind, config=config)
        before = 2 if config.use_sloped_extrapolation else 1
        series = reaching(self.read, path, start_ns, end_ns, span=self.span(), before=before)
        stepped = self.tags()[path].holds
        return aggregate_series(series, start_ns, end_ns, interval_ns, kind, config=config, stepped=stepped)

    def rollup(self, paths: Sequence[str], start_ns: int, end_ns: int, interval_ns: int) -> Rollup:
        """Extremes, ends, mean and counts of every interval that holds a sample, by tag, as columns.

        Where a fix takes samples from or to, the samples are read; elsewhere the store's own rollups count.
        """
        moved = self._moved(paths)
        plain = [p for p in paths if p not in moved]
        parts = [self._store.rollup(plain, start_ns, end_ns, interval_ns)] if plain else []
        for path, fixes in moved.items():
            for low, high, is_touched in stretches(fixes, start_ns, end_ns, interval_ns):
                if is_touched:
                    parts += self._rolled(path, low, high, interval_ns)
                else:
                    parts.append(self._store.rollup([path], low, high, interval_ns))
        return joined(parts)

    def envelope(self, path: str, start_ns: int, end_ns: int, columns: int) -> Envelope:
        """First, minimum, maximum and last sample a pixel column, gaps kept.

        A window that a fix takes samples from or to is drawn from the samples, piece by piece.
        """
        fixes = self._moved([path]).get(path, [])
        if not any(touched for *_, touched in stretches(fixes, start_ns, end_ns, 1)):
            return self._store.envelope(path, start_ns, end_ns, columns)
        parts = [
            envelope_of(block[path], start_ns, end_ns, columns)
            for block in self.blocks([path], start_ns, end_ns)
        ]
        # The outline of outlines, on the same pixel columns, is the outline of all.
        whole = joined_series([Series(p.time_ns, p.value, p.quality) for p in parts])
        outline = envelope_of(whole, start_ns, end_ns, columns)
        return Envelope(outline.time_ns, outline.value, outline.quality, sum(p.samples for p in parts))

    def _moved(self, paths: Sequence[str]) -> dict[str, list[ClockFix]]:
        """The tags that a fix touches, with their source's fixes."""
        fixes = self._fixes()
        if not fixes:
            return {}
        sources = {f.source for f in fixes}
        known = self._store.tags()
        return {
            p: [f for f in fixes if f.source == known[p].source]
            for p in paths
            if p in known and known[p].source in sources
        }

    def _read(self, path: str, fixes: Sequence[ClockFix], start_ns: int, end_ns: int) -> Series:
        parts = []
        for low, high, shift_ns in pieces(fixes, start_ns, end_ns):
            found = self._store.read([path], low, high)[path]
            parts.append(Series(found.time_ns + shift_ns, found.value, found.quality) if shift_ns else found)
        return merged(parts)

    def _newest(self, path: str, fixes: Sequence[ClockFix], stored: Sample) -> Sample:
        """The newest sample of a tag: of each piece the last one, found from its end."""
        span = self._store.span()
        quick = surely_newest(fixes, stored)
        if quick is not None or span is None:
            return quick or stored
        best = stored
        best_ns: int | None = None
        for low, high, shift_ns in pieces(fixes, -(2**62), 2**62):
            last = self._last(path, max(low, span[0]), min(high, span[1] + 1))
            if last is not None and (best_ns is None or last.time_ns + shift_ns >= best_ns):
                best, best_ns = last, last.time_ns + shift_ns
        if best_ns is None:
            return stored
        arrival_ns = (
            stored.arrival_ns if best.time_ns == stored.time_ns else self._arrival(path, best.time_ns)
        )
        return Sample(best_ns, best.value, best.quality, arrival_ns)

    def _last(self, path: str, low_ns: int, high_ns: int) -> Sample | None:
        reach_ns = LOOK_BACK_NS
        at = high_ns
        while at > low_ns:
            start = max(low_ns, at - reach_ns)
            found = self._store.read([path], start, at)[path]
            if len(found):
                return Sample(int(found.time_ns[-1]), float(found.value[-1]), int(found.quality[-1]), 0)
            at, reach_ns = start, reach_ns * 16
        return None

    def _arrival(self, path: str, time_ns: int) -> int:
        """When the sample stored under a time arrived: the last one of that time."""
        number, last = self.tags()[path].id, self.last_number()
        for look_back in (*_NEWEST_FRAMES, last):
            found = 0
            for _, frame in self.frames(max(0, last - look_back)):
                if bool(((frame.tag == number) & (frame.time_ns == time_ns)).any()):
                    found = frame.arrival_ns
            if found or look_back >= last:
                break
        return found

    def _rolled(self, path: str, start_ns: int, end_ns: int, interval_ns: int) -> list[Rollup]:
        """A stretch rolled up from its samples; the store's rollups where there are no samples any more."""
        number = self.tags()[path].id
        found = [
            rollup_of(
                np.full(len(b[path]), number, np.int32),
                b[path].time_ns,
                b[path].value,
                b[path].quality,
                interval_ns,
            )
            for b in self._whole_intervals(path, start_ns, end_ns, interval_ns)
        ]
        if found or len(self._store.read([path], start_ns, end_ns)[path]):
            return found
        return [self._store.rollup([path], start_ns, end_ns, interval_ns)]

    def _whole_intervals(
        self, path: str, start_ns: int, end_ns: int, interval_ns: int
    ) -> Iterator[dict[str, Series]]:
        """The samples, a number of whole intervals at a time; pieces without any are left out."""
        step_ns = max(interval_ns, 6 * 3600 * 10**9 // interval_ns * interval_ns)
        fixes, at = self._moved([path])[path], start_ns
        for low, high in inhabited([fixes], self._store.span(), start_ns, end_ns):
            at = max(at, low // interval_ns * interval_ns)
            while at < high:
                upto = min((at // step_ns + 1) * step_ns, end_ns)
                found = self.read([path], at, upto)
                if len(found[path]):
                    yield found
                at = upto
