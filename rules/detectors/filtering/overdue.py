"""Whether the melt filter is cleaned when it ought to be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isnan
from statistics import fmean
from typing import Any

from historian.frame import NS
from historian.tags import Tag
from rules.block import Block
from rules.detectors.filtering.rows import PARKED, WIPER, WIPING, FilterRow, FilterRows, pressure_tags
from rules.finding import Evidence, Finding, Priority
from rules.line import LineFacts, MeltFilter
from rules.seen.running import Running
from rules.seen.stage import Stage
from rules.table.settings import values_of
from rules.words import minutes

RULE = "cleaning-overdue"
SUBJECT = "filter.wiper"

_GONE_NS = 60 * NS
_PAUSE_NS = 5 * NS
_MEAN_OF = 10  # seconds: a single one is as noisy as what is looked for


class CleaningOverdue:
    """Rule ``cleaning-overdue``: pressure difference above the trigger, or the last cleaning long ago."""

    rule = RULE

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag], stage: Stage) -> None:
        self._values = values_of(facts, RULE)
        self._filter = facts.melt_filter if facts.melt_filter is not None else MeltFilter(plates=0)
        self._tags = (*pressure_tags(tags), WIPER)
        self._rows = FilterRows(stage)
        self._running = Running(facts, tags)
        self._time: int | None = None
        self._parked_bar: list[float] = []  # pressure difference of the last seconds in which it was parked
        self._over_since: int | None = None
        self._due_since: int | None = None  # last cleaning, start of melt flow or return of the data
        self._below_since: int | None = None
        self._wiped = False  # since the finding began
        self._began_ns: int | None = None
        self._standing = Priority.JOURNAL  # priority of the standing finding; JOURNAL: none

    def update(self, block: Block) -> Sequence[Finding]:
        """What the samples say."""
        found: list[Finding] = []
        for row in self._rows.of(block):
            found.extend(self._judge(row))
        return found

    def advance(self, now_ns: int) -> Sequence[Finding]:
        """Nothing: missing samples are not this rule's affair."""
        return ()

    def _judge(self, row: FilterRow) -> Sequence[Finding]:
        paused = self._time is not None and row.time_ns - self._time > _PAUSE_NS
        self._time = row.time_ns
        self._running.push(row.time_ns, row.feed_kg_h, row.speed_per_min, row.dp_bar)
        if paused or isnan(row.wiper):
            # A cleaning may have gone unseen: nothing is known of the time since the last one.
            self._over_since = self._due_since = self._below_since = None
            self._parked_bar = []
        if isnan(row.wiper) or isnan(row.dp_bar):
            self._over_since = self._below_since = None
            return ()
        self._follow(row)
        if self._began_ns is not None:
            ended = self._end(row)
            if ended is not None:
                return (ended,)
        return self._begin(row)

    def _follow(self, row: FilterRow) -> None:
        """Keep the times since when things have been as they are."""
        trigger = self._filter.trigger_dp_bar
        if row.wiper == WIPING:
            self._wiped = True
        if row.wiper == WIPING or not self._running.runs:
            self._due_since = None
        elif self._due_since is None:
            self._due_since = row.time_ns
        if trigger is None:
            return
        self._parked_bar = [*self._parked_bar, row.dp_bar][-_MEAN_OF:] if row.wiper == PARKED else []
        enough = len(self._parked_bar) == _MEAN_OF
        over = enough and fmean(self._parked_bar) > trigger + self._values["over_bar"]
        self._over_since = _since(self._over_since, row.time_ns, holds=over)
        self._below_since = _since(self._below_since, row.time_ns, holds=row.dp_bar < trigger)

    def _begin(self, row: FilterRow) -> Sequence[Finding]:
        if not self._running.runs or self._running.for_s(row.time_ns) < self._values["start_s"]:
            return ()
        over_s = 0.0 if self._over_since is None else (row.time_ns - self._over_since) / NS
        if self._over_since is not None and over_s >= self._values["held_s"] + self._filter.trigger_held_s:
            return self._raise(row, Priority.MEDIUM, self._over_since, self._over_words(row))
        longest = self._filter.max_interval_s
        if longest is None or self._due_since is None:
            return ()
        due_s = (row.time_ns - self._due_since) / NS
        if due_s > longest * self._values["interval_factor"]:
            sentence = (
                f"No cleaning for {minutes(due_s)} min while melt runs; at most {minutes(longest)} min are "
                "configured. Why the wiper was not started is not known."
            )
            return self._raise(row, Priority.LOW, self._due_since + int(longest * NS), sentence)
        return ()

    def _over_words(self, row: FilterRow) -> str:
        return (
            f"The pressure difference is {row.dp_bar:.0f} bar, above the trigger of "
            f"{self._filter.trigger_dp_bar:.0f} bar, and the wiper is parked. "
            "Why it was not started is not known."
        )

    def _raise(self, row: FilterRow, own: Priority, onset_ns: int, sentence: str) -> Sequence[Finding]:
        if own <= self._standing:
            return ()
        if self._began_ns is None:
            self._began_ns, self._wiped = onset_ns, False
        self._standing = own
        return (self._finding(row, own, sentence, active=True),)

    def _end(self, row: FilterRow) -> Finding | None:
        trigger = self._filter.trigger_dp_bar
        gone = self._below_since is not None and row.time_ns - self._below_since >= _GONE_NS
        stopped = self._running.stopped and self._running.for_s(row.time_ns) * NS >= _GONE_NS
        if self._wiped and row.wiper == PARKED and (trigger is None or row.dp_bar < trigger):
            sentence = f"The filter was cleaned; the pressure difference is {row.dp_bar:.0f} bar."
        elif stopped:
            sentence = "Melt no longer runs; a cleaning was not seen."
        elif gone and self._standing is Priority.MEDIUM and self._due_is_kept(row):
            sentence = (
                f"The pressure difference has been below the trigger for a minute ({row.dp_bar:.0f} bar)."
            )
        else:
            return None
        own = self._standing
        finding = self._finding(row, own, sentence, active=False)
        self._began_ns, self._standing = None, Priority.JOURNAL
        return finding

    def _due_is_kept(self, row: FilterRow) -> bool:
        longest = self._filter.max_interval_s
        if longest is None or self._due_since is None:
            return True
        return (row.time_ns - self._due_since) / NS <= longest * self._values["interval_factor"]

    def _finding(self, row: FilterRow, own: Priority, sentence: str, *, active: bool) -> Finding:
        onset_ns = row.time_ns if self._began_ns is None else self._began_ns
        figures = {"pressure difference": (round(row.dp_bar, 1), "bar")}
        if self._filter.trigger_dp_bar is not None:
            figures["trigger"] = (self._filter.trigger_dp_bar, "bar")
        if self._due_since is not None:
            figures["since the last cleaning"] = ((row.time_ns - self._due_since) / NS, "s")
        evidence = Evidence(onset_ns, row.time_ns, self._tags, figures)
        onset_ns = onset_ns if active else row.time_ns
        priority, advice = self._values.priority(own), self._values.advice
        return Finding(RULE, SUBJECT, active, row.time_ns, onset_ns, priority, sentence, advice, evidence)

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {
            "running": self._running.save(),
            "time": self._time,
            "parked": self._parked_bar,
            "over": self._over_since,
            "due": self._due_since,
            "below": self._below_since,
            "wiped": self._wiped,
            "began": self._began_ns,
            "standing": int(self._standing),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._running.restore(state["running"])
        self._parked_bar = list(state["parked"])
        self._time, self._over_since = state["time"], state["over"]
        self._due_since, self._below_since = state["due"], state["below"]
        self._wiped, self._began_ns = state["wiped"], state["began"]
        self._standing = Priority(state["standing"])


def _since(before_ns: int | None, now_ns: int, *, holds: bool) -> int | None:
    """Since when something has held; None when it does not."""
    if not holds:
        return None
    return now_ns if before_ns is None else before_ns
