"""Brings the times of a source with a wrong clock to where they belong, and keeps what they were; pure.

How it works. As long as a source's newest time is near its arrival, nothing happens here. What is ahead of
arrival, or so old that nothing was buffered so long, has a wrong clock at once. What is minutes to weeks
behind may be late and true: after a start, a loss or a step back it is held until ``Lateness`` can tell. A
wrong clock begins a clock epoch with one shift, whole milliseconds, so that its newest sample lies at its
arrival and distances in time stay; the shift is recorded at the stored time from which it counts. Epochs of
one source share no stored time, where that can be had; else the record says where nobody can tell.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from collector.clocks.arrival import STEP_NS
from collector.clocks.bounds import Bounds
from collector.clocks.epoch import Epoch
from collector.clocks.lateness import Lateness, Verdict
from collector.clocks.stamps import Stamps, begins_anew, is_step, moved, parted
from collector.clocks.stray import Strays
from collector.clocks.words import NO_DOUBT, Begun, Which
from collector.clocks.wrong import BEHIND_NS, FUTURE_NS, said_of
from collector.columns import Columns
from collector.entry import ALIVE, Entry
from historian.clocks.trusted import JUMP_NS, is_zone
from historian.event import Event
from historian.frame import NS, TagIds, Times
from historian.quality import Mask

_GOES_ON_NS: Final = 60 * NS
"""What comes after a loss and begins so soon after the newest stored sample goes on from there: it waited."""


@dataclass(slots=True)
class Righted:
    """What became of a batch.

    Attributes:
        entries: for the stream.
        held: of which nobody can tell yet whether it is late or wrong: to come again with the next batch.
        records: stored time and shift, milliseconds, of each epoch that begins; NaN: not known from there on.
        events: what is to be said.
    """

    entries: list[Entry] = field(default_factory=list)
    held: list[Entry] = field(default_factory=list)
    records: list[tuple[int, float]] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)


class SourceClock:
    """The clock of one source.

    Args:
        name: of the source.
        paths: tag number → path of its tags.
        known_ns: gives the newest stored time of each of these tags; a very low number where there is none.
        newest_ns: newest stored time of it; None where nothing is stored.
        shift_ns: with which an earlier run ended.

    Attributes:
        shift_ns: what is added to its times now.
        fault: what is wrong with its clock, one clause; empty when it is right.
        stored_ns: the newest time under which a sample of it is kept; None before the first.
        heard_ns: the newest time that it sent, and when that came; None before the first.
    """

    def __init__(
        self,
        name: str,
        paths: Mapping[int, str],
        known_ns: Callable[[TagIds], Times],
        newest_ns: int | None = None,
        shift_ns: int = 0,
    ) -> None:
        self.name, self.shift_ns, self.fault = name, shift_ns, ""
        self.heard_ns: tuple[int, int] | None = None
        self.stored_ns = newest_ns
        self._begun_ns: int | None = None
        self._sent_ns: int | None = None  # newest time that it sent
        self._followed = False  # whether its clock has been seen to be right since it came back
        self._lateness: Lateness | None = None
        self._late = False
        self._asked = False  # whether what is ahead of the time waits for what other sources show
        self._known_ns = known_ns
        self._strays = Strays(name, paths)

    def right(
        self, entries: Sequence[Entry], now_ns: int, *, last: bool = False, which: Which = NO_DOUBT
    ) -> Righted:
        """The batch, its times moved where its clock is wrong.

        Args:
            entries: of the batch, after those that have to wait.
            now_ns: what the time is, as far as the edge can tell.
            last: nothing may wait.
            which: what is known of the edge's own clock.
        """
        if self._is_plain(entries, now_ns):
            return Righted(moved(entries, self.shift_ns, sure=self._sure))
        done = Righted()
        self._take(list(entries), now_ns, done, last=last, which=which)
        return done

    @property
    def _sure(self) -> bool:
        return is_zone(self.shift_ns, within_ns=0)

    def _is_plain(self, entries: Sequence[Entry], now_ns: int) -> bool:
        """Whether all is near its arrival, without a look at single samples."""
        columns = [e for e in entries if isinstance(e, Columns) and len(e)]
        rows = [e for e in entries if not isinstance(e, Columns)]
        if any(c.resent for c in columns) or any(r[0] < 0 and r[0] != ALIVE for r in rows):
            return False
        stamps = [r[1] for r in rows]
        newest = [r[1] for r in rows if r[0] >= 0]
        if columns:
            times = columns[0].time_ns if len(columns) == 1 else np.concatenate([c.time_ns for c in columns])
            newest.append(int(times.max()))
            stamps += [int(times.min()), newest[-1]]
        if not stamps:
            return self._lateness is None or self._late
        low_ns, high_ns = now_ns - self.shift_ns - BEHIND_NS, now_ns - self.shift_ns + FUTURE_NS
        if self.shift_ns:
            low_ns = max(low_ns, (self._begun_ns or low_ns + self.shift_ns) - self.shift_ns)
        if min(stamps) < low_ns or max(*stamps, *(r[4] for r in rows), 0) > high_ns:
            return False
        if newest:
            if self.shift_ns and max(newest) < (self._sent_ns or low_ns) - STEP_NS:
                return False
            if self._may_be_right(max(newest), now_ns):
                return False
            self._follow(max(newest), now_ns)
        return True

    def _follow(self, newest_ns: int, now_ns: int) -> None:
        """Its clock is where it is taken to be."""
        self._sent_ns = max(newest_ns, self._sent_ns or newest_ns)
        self.stored_ns = max(newest_ns + self.shift_ns, self.stored_ns or newest_ns + self.shift_ns)
        self._followed, self._lateness, self._late, self._asked = True, None, False, False
        self.heard_ns = (newest_ns, now_ns)

    def _take(self, entries: list[Entry], now_ns: int, done: Righted, *, last: bool, which: Which) -> None:
        stamps = Stamps.of(entries)
        if stamps.was_lost:
            self._followed = self._late = False
            # What was held when it was lost is judged as it stands.
            last = last or self._lateness is not None
        bounds = Bounds(now_ns, self.shift_ns, self._begun_ns)
        impossible = bounds.impossible(stamps)
        if back := bounds.gone_back(stamps.chosen(~impossible), self._known_ns):
            self._part(entries, back, bounds, done, which)
            return
        judged = self._judged(stamps, now_ns)
        if (impossible & judged).any():
            if not stamps.running.any():
                # Its stamps are ahead, whatever clock it asks when it is asked for its own time.
                stamps = replace(stamps.chosen(judged), running=judged[judged], said_ns=None)
                impossible = judged = stamps.running
            is_all = self._asked or bool((impossible | ~judged).all())
            if is_all and not self._strays.knows(stamps.tag[judged].tolist()):
                self._asked = not last and self._is_ahead(stamps, now_ns) and which.asks()
                if self._asked:
                    done.held += entries
                else:
                    self._begin(entries, stamps, now_ns, done, which)
            elif is_step(stamps.chosen(judged), impossible[judged]):
                near, far = parted(entries, lambda _, time_ns: bounds.is_impossible(time_ns))
                self._take(near, now_ns, done, last=True, which=which)
                self._take(far, now_ns, done, last=last, which=which)
            else:
                self._keep(entries, now_ns, done, stamps.chosen(~impossible))
            return
        if impossible.any() and not impossible.all():
            # Values that were never written are stamped with the first day of somebody's calendar.
            stamps = stamps.chosen(~impossible)
        if self._is_late(stamps, now_ns, last=last):
            self._keep(entries, now_ns, done, stamps)
        elif self._lateness is not None and not self._late:
            done.held += entries
        else:
            self._begin(entries, stamps, now_ns, done, which)

    def _is_ahead(self, stamps: Stamps, now_ns: int) -> bool:
        """Whether it is ahead by what this computer's clock may be behind."""
        newest_ns = stamps.newest_ns()
        return newest_ns is not None and 0 < newest_ns + self.shift_ns - now_ns <= JUMP_NS

    def _judged(self, stamps: Stamps, now_ns: int) -> Mask:
        """Which samples tell the clock: running ones; first ones only where nothing else does."""
        said_ns = stamps.said_ns
        if stamps.running.any():
            return stamps.running
        says_right = said_ns is not None and -BEHIND_NS <= said_ns + self.shift_ns - now_ns <= FUTURE_NS
        if not says_right:
            return np.ones(len(stamps), dtype=np.bool_)
        ahead: Mask = stamps.time_ns + self.shift_ns > now_ns + FUTURE_NS
        return ahead if 2 * int(ahead.sum()) > len(stamps) else np.zeros(len(stamps), dtype=np.bool_)

    def _is_late(self, stamps: Stamps, now_ns: int, *, last: bool) -> bool:
        """Whether what is not impossible is true: near its arrival, or late; held where nobody can tell."""
        newest_ns = stamps.newest_ns()
        if newest_ns is None:
            verdict = self._lateness.look(None, now_ns) if self._lateness and not self._late else Verdict.LATE
            self._late = self._late or (verdict is Verdict.LATE and self._lateness is not None)
            return verdict is not Verdict.WAIT
        went_back_ns = (self._sent_ns or newest_ns) - newest_ns
        if newest_ns + self.shift_ns >= now_ns - BEHIND_NS:
            if self.shift_ns and went_back_ns > STEP_NS:
                return False
            if self._may_be_right(newest_ns, now_ns):
                self._lateness = self._lateness or Lateness(newest_ns, now_ns)
                self._late = self._lateness.look(newest_ns, now_ns) is not Verdict.WRONG
                if not self._late:
                    self._lateness = None
                return self._late
            self._follow(newest_ns, now_ns)
            return True
        if self.shift_ns:
            # Its clock was set right, or set back once more; else what it had in a buffer comes.
            return went_back_ns <= STEP_NS and not now_ns - BEHIND_NS <= newest_ns
        if self._followed and went_back_ns <= BEHIND_NS:
            return True
        if self._lateness is None and self._goes_on(stamps):
            self._followed = True
            return True
        if not stamps.running.any():
            # First values may be old and true, and are told by the source's own time.
            return stamps.said_ns is None or stamps.said_ns >= now_ns - BEHIND_NS
        if self._lateness is None:
            self._lateness = Lateness(newest_ns, now_ns)
        verdict = self._lateness.look(newest_ns, now_ns)
        if verdict is Verdict.WRONG:
            self._late = True
            return False
        self._late = self._late or last or verdict is Verdict.LATE
        return self._late

    def _may_be_right(self, newest_ns: int, now_ns: int) -> bool:
        """Whether a clock that was a little ahead may have been set right while it was away.

        Its samples are then late under the shift, as steadily as a wrong clock would be.
        """
        late_ns = now_ns - (newest_ns + self.shift_ns)
        return self.shift_ns < 0 and late_ns > STEP_NS and newest_ns <= now_ns + STEP_NS

    def _part(
        self, entries: list[Entry], back: set[int], bounds: Bounds, done: Righted, which: Which
    ) -> None:
        """Take what goes on apart from what went back."""

        def went(tag: int, time_ns: int) -> bool:
            return tag in back and bounds.is_old(time_ns) and not bounds.is_impossible(time_ns)

        near, far = parted(entries, went)
        # What is sent after a step is all of the new clock: the batches that follow show it. Until then
        # nothing is held, because a broker that waits for acknowledgements would send none of them.
        self._take(near, bounds.now_ns, done, last=True, which=which)
        self._bring(far, bounds.now_ns, done, bounds.now_ns - BEHIND_NS)

    def _goes_on(self, stamps: Stamps) -> bool:
        """Whether a batch goes on right after what is stored."""
        if self.stored_ns is None:
            return False
        return -STEP_NS <= stamps.oldest_ns() - self.stored_ns <= _GOES_ON_NS

    def _keep(self, entries: list[Entry], now_ns: int, done: Righted, true: Stamps) -> None:
        """Pass the batch on; single samples whose time cannot be true come to their arrival."""
        self._bring(entries, now_ns, done, self._begun_ns if self.shift_ns else None)
        if true.running.any():
            stored_ns = int(true.time_ns[true.running].max()) + self.shift_ns
            self.stored_ns = max(stored_ns, self.stored_ns or stored_ns)

    def _bring(self, entries: list[Entry], now_ns: int, done: Righted, least_ns: int | None) -> None:
        """Pass the batch on; what lies before ``least_ns``, or cannot be true, comes to its arrival."""
        kept, events = self._strays.brought(
            moved(entries, self.shift_ns, sure=self._sure), now_ns, base_ns=self.shift_ns, least_ns=least_ns
        )
        done.entries += kept
        done.events += events

    def _begin(self, entries: list[Entry], stamps: Stamps, now_ns: int, done: Righted, which: Which) -> None:
        """A clock epoch begins: of a wrong clock, or of one that is right again."""
        newest_ns = stamps.newest_ns()
        newest_ns = now_ns if newest_ns is None else max(newest_ns, stamps.said_ns or newest_ns)
        oldest_ns = stamps.oldest_ns() if len(stamps) else None
        epoch = Epoch.of(newest_ns, oldest_ns, now_ns, self.stored_ns)
        before_ns, offset_ns = self.shift_ns, newest_ns - now_ns
        self.shift_ns, self._begun_ns, self._sent_ns = epoch.shift_ns, epoch.begun_ns, None
        done.records += epoch.records()
        self._strays.forget()
        self.fault = "" if epoch.is_right else said_of(offset_ns, newest_ns)
        begun = Begun(self.name, self.fault, epoch.begun_ns, epoch.shift_ns, before_ns, offset_ns)
        done.events.append(begun.told(now_ns, which))
        self._follow(newest_ns, now_ns)
        done.entries.append(begins_anew(epoch.begun_ns, among=epoch.is_among))
        self._keep(entries, now_ns, done, stamps)
