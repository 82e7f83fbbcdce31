"""One source's samples, from what it sent to what is kept: gaps, clock steps, doubles, confirmed values."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from collector.clocks.arrival import STEP_NS
from collector.clocks.steps import ClockWatch, Step
from collector.columns import Columns, one_before
from collector.entry import ALIVE, HEALED, SHIFTED, Entry, Row
from collector.gaps.marks import Gap, GapMarks
from collector.keeping.kept import Kept
from collector.reading.confirm import Confirm
from collector.reading.mapping import SourceMapping
from historian.event import Event
from historian.frame import Frame, TagIds, Times
from historian.quality import HELD, NO_DATA
from historian.store import Sample

_SEVERITY = 0xC000_0000
_NEVER = -(2**63)
_GAPS_HELD = 100_000
_BEFORE_MARK_NS = 60_000_000_000  # where a gap that an earlier run marked may have begun
_UNKNOWN = (_NEVER, math.nan, 0)


class Stream:
    """The state of one source between batches.

    Columns whose times rise go a quick way; whatever is unusual in a batch (a gap, a step of the clock) is
    taken sample by sample, which gives the same where both can. Times that cannot be true have been brought
    to where they belong before (``collector.clocks.source``).

    Args:
        mapping: the source.
        paths: tag number → path of its tags.
        latest: the newest stored sample of each of its tags, by number.
        epoch: clock epoch to go on from.
        unfilled: gaps that ended in an earlier run, which could not fill them any more.
    """

    def __init__(
        self,
        mapping: SourceMapping,
        paths: Mapping[int, str],
        latest: Mapping[int, Sample],
        epoch: int = 0,
        unfilled: Iterable[Gap] = (),
    ) -> None:
        self.name = mapping.name
        self.epoch = epoch
        self._wall = mapping.clock == "wall"
        self._paths = paths
        self._newest = {t: (s.time_ns, s.value, s.quality) for t, s in latest.items()}
        self._source_ns = max((s.time_ns for s in latest.values()), default=None)
        self._begun = False
        self._connected = False
        self._gaps, self._confirm = GapMarks(), Confirm()
        self._watch = ClockWatch()
        self._before_gap: dict[int, tuple[int, float, int]] = {}
        self._ended_gaps: deque[Gap] = deque(unfilled, maxlen=_GAPS_HELD)
        self._kept: list[Kept] = []
        self._events: list[Event] = []

    def going_on(
        self, mapping: SourceMapping, paths: Mapping[int, str], latest: Mapping[int, Sample]
    ) -> Stream:
        """The stream of the same source under a new mapping: its tags' newest samples and its epoch stay.

        Args:
            latest: the newest stored samples of tags that are new to it, by number.
        """
        known = {t: Sample(k[0], k[1], k[2], 0) for t, k in self._newest.items() if t in paths}
        return Stream(mapping, paths, {**latest, **known}, self.epoch)

    def take(self, entries: Sequence[Entry], arrival_ns: int) -> tuple[list[Frame], list[Event]]:
        """What to keep of a batch, as frames in order of clock epoch, and what happened."""
        self._kept, self._events = [Kept(self.epoch)], []
        if not self._begun:
            self._begun = True
            self._begin()
        if entries:
            self._take_all(entries, arrival_ns)
        if self._connected:
            for tag, time_ns, value, quality in self._confirm.due(arrival_ns):
                known = self._newest.get(tag)
                if known is None or known[0] < time_ns:
                    self._keep(tag, time_ns, value, quality)
        frames = [kept.frame(arrival_ns) for kept in self._kept if kept.columns or kept.rows]
        return frames, self._events

    def _take_all(self, entries: Sequence[Entry], arrival_ns: int) -> None:
        columns = [e for e in entries if isinstance(e, Columns)]
        others = [e for e in entries if not isinstance(e, Columns)]
        if columns and all(row[0] == ALIVE for row in others):
            one = Columns.joined(columns)
            if one.resent:
                one = self._fill_in(one)
            if len(one) == 0 or self._take_quickly(one, arrival_ns):
                for row in others:
                    self._control(row, arrival_ns)
                return
            self._take([*one.rows(), *others], arrival_ns)
            return
        rows: list[Row] = []
        for entry in entries:
            if isinstance(entry, Columns):
                rows.extend((self._fill_in(entry) if entry.resent else entry).rows())
            else:
                rows.append(entry)
        self._take(rows, arrival_ns)

    def _fill_in(self, columns: Columns) -> Columns:
        """Keep what is not newer than what is known of its tag as it is; gives the others."""
        newest_ns = self.newest_ns(columns.tag)
        old = columns.time_ns <= newest_ns
        if old.any():
            self._connected = True
            self._kept[-1].columns.append(columns.chosen(old).in_order())
            return columns.chosen(~old)
        return columns

    def newest_ns(self, tag: TagIds) -> Times:
        """The newest source time that is known of each tag; the lowest number where none is."""
        tags, place = np.unique(tag, return_inverse=True)
        known = [self._newest.get(t) for t in tags.tolist()]
        return np.array([_NEVER if k is None else k[0] for k in known], dtype=np.int64)[place]

    def _take_quickly(self, columns: Columns, arrival_ns: int) -> bool:
        """Keep columns of which each tag's times rise and nothing else is to be said; False if not so."""
        newest_ns = int(columns.time_ns.max())
        columns = columns.by_tag()
        starts = columns.starts()
        tags: list[int] = columns.tag[starts].tolist()
        if self._gaps and any(tag in self._gaps for tag in tags):
            return False
        known_ns, known, known_quality = zip(*(self._newest.get(t, _UNKNOWN) for t in tags), strict=True)
        before_ns = one_before(columns.time_ns, starts, known_ns)
        if (columns.time_ns < before_ns).any():
            return False
        if self._wall:
            self._step_forward(self._watch.batch(newest_ns, arrival_ns), arrival_ns)
        self._connected = True
        again = columns.time_ns == before_ns
        if again.any():
            value = one_before(columns.value, starts, known)
            alike = (columns.value == value) | (np.isnan(columns.value) & np.isnan(value))
            alike &= columns.quality == one_before(columns.quality, starts, known_quality)
            columns = columns.chosen(~(again & alike)) if (again & alike).any() else columns
        if len(columns):
            self._kept[-1].columns.append(columns)
            self._remember(columns, newest_ns, arrival_ns)
        if self._source_ns is not None:
            self._confirm.source_at(self._source_ns, arrival_ns)
        return True

    def _remember(self, columns: Columns, newest_ns: int, arrival_ns: int) -> None:
        """The last sample of each tag is its newest one."""
        ends = np.append(columns.starts()[1:], len(columns)) - 1
        last = columns.chosen(ends)
        source_ns = int(last.time_ns.max())
        for tag, time_ns, value, quality, _ in last.rows():
            self._newest[tag] = (time_ns, value, quality)
            self._confirm.heard(tag, value, quality, arrival_ns - max(0, newest_ns - time_ns))
        if self._source_ns is None or source_ns > self._source_ns:
            self._source_ns = source_ns

    def _begin(self) -> None:
        """Between the newest stored samples and now the edge was off: that is a gap."""
        for tag, (time_ns, _, quality) in self._newest.items():
            if quality == NO_DATA:
                self._gaps.adopt(tag, time_ns)
        self._mark()

    def _mark(self) -> None:
        for tag, time_ns in self._gaps.open(((t, k[0]) for t, k in self._newest.items()), self._source_ns):
            self._before_gap[tag] = self._newest[tag]
            self._keep(tag, time_ns, math.nan, NO_DATA)

    def _heal(self) -> None:
        """Where a gap was marked and nothing was lost, the value before it held."""
        for tag, (_, value, quality) in self._before_gap.items():
            if tag in self._gaps and not quality & _SEVERITY:
                self._keep(tag, self._gaps.heal(tag), value, HELD)
        self._before_gap.clear()

    @property
    def lag(self) -> tuple[int, int]:
        """How many batches of live samples came, and arrival less newest source time of the last one."""
        return self._watch.batches, self._watch.lag_ns

    def ended_gaps(self) -> list[Gap]:
        """The gaps that have ended since the last call; hands them over."""
        ended = list(self._ended_gaps)
        self._ended_gaps.clear()
        return ended

    def _end_gap(self, tag: int, time_ns: int, source_ns: int, *, first: bool) -> int:
        """The time under which a value is kept, whether it ends a gap or not."""
        mark_ns = self._gaps.mark_ns(tag)
        time_ns = self._gaps.close(tag, time_ns, source_ns, first=first)
        if mark_ns is not None and time_ns > mark_ns:
            unknown = (mark_ns - _BEFORE_MARK_NS, math.nan, NO_DATA)
            since_ns, value, quality = self._before_gap.pop(tag, unknown)
            self._ended_gaps.append(Gap(tag, since_ns, value, quality, mark_ns, time_ns))
        return time_ns

    def _take(self, rows: Sequence[Row], arrival_ns: int) -> None:
        newest_ns = self._look(rows, arrival_ns)
        before: tuple[int, int] | None = None
        for row in rows:
            tag, sent_ns, value, quality, first = row
            if tag < 0:
                self._control(row, arrival_ns)
                before = None if tag == SHIFTED else before
                continue
            self._connected = True
            source_ns = max(first, newest_ns, sent_ns)
            in_gap = bool(self._gaps)
            time_ns = self._end_gap(tag, sent_ns, source_ns, first=first > 0) if in_gap else sent_ns
            known = self._newest.get(tag)
            if known is not None:
                if time_ns == known[0] and _same(value, quality, known):
                    continue
                if time_ns < known[0] - STEP_NS:
                    before = (known[0], time_ns)
                    self._step_back(tag, max(time_ns, first) - known[0], arrival_ns)
            elif before is not None and abs(time_ns - before[0]) < abs(time_ns - before[1]):
                # Sent before the step, taken after it: another tag's step came first in the batch.
                self._kept[-2].rows.append((tag, time_ns, value, quality, 0))
                continue
            self._keep(tag, time_ns, value, quality)
            self._confirm.heard(tag, value, quality, arrival_ns - max(0, source_ns - time_ns))
        if self._source_ns is not None and self._connected:
            self._confirm.source_at(self._source_ns, arrival_ns)

    def _look(self, rows: Sequence[Row], arrival_ns: int) -> int:
        """Find steps forward; the newest source time."""
        sent = [row for row in rows if row[0] >= 0]
        running = [row[1] for row in sent if not row[4]]
        if any(row[0] == SHIFTED for row in rows):
            self._watch.stepped_back()
        if running and self._wall:
            self._step_forward(self._watch.batch(max(running), arrival_ns), arrival_ns)
        return max((row[1] for row in sent), default=0)

    def _step_forward(self, step_ns: int, arrival_ns: int) -> None:
        if step_ns:
            self._new_epoch()
            self._tell_step("", step_ns, arrival_ns)

    def _control(self, row: Row, arrival_ns: int) -> None:
        what, source_ns, among, _, _ = row
        if what == ALIVE:
            self._connected = True
            self._confirm.source_at(source_ns, arrival_ns)
        elif what == HEALED:
            self._heal()
        elif what == SHIFTED:
            self._new_epoch()
            if among:
                self._forget_times()
        else:
            self._connected = False
            self._mark()
            self._confirm.lost()

    def _keep(self, tag: int, time_ns: int, value: float, quality: int) -> None:
        self._kept[-1].rows.append((tag, time_ns, value, quality, 0))
        known = self._newest.get(tag)
        if known is None or time_ns >= known[0]:
            self._newest[tag] = (time_ns, value, quality)
        if self._source_ns is None or time_ns > self._source_ns:
            self._source_ns = time_ns

    def _new_epoch(self) -> None:
        self.epoch += 1
        self._kept.append(Kept(self.epoch))
        self._confirm.stepped()

    def _step_back(self, tag: int, step_ns: int, arrival_ns: int) -> None:
        self._new_epoch()
        self._forget_times()
        self._watch.stepped_back()
        self._tell_step(self._paths.get(tag, ""), step_ns, arrival_ns)

    def _forget_times(self) -> None:
        self._newest.clear()
        self._source_ns = None
        self._gaps.clear()
        self._before_gap.clear()

    def _tell_step(self, path: str, step_ns: int, arrival_ns: int) -> None:
        step = Step(self.name, step_ns, path, self.epoch)
        self._events.append(step.told(arrival_ns, by_wall=self._wall))


def _same(value: float, quality: int, known: tuple[int, float, int]) -> bool:
    return quality == known[2] and (value == known[1] or (math.isnan(value) and math.isnan(known[1])))
