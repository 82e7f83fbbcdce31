"""Whether a source's clock is off.

Where the recorder keeps the offset of a source's clock, that is gone by. Otherwise stamps are compared with
arrival: nothing arrives before it was taken, so the newest sample of a source tells at least how far its
clock is ahead; one that is behind cannot be told from one that is late, except that the others are not.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from math import isnan
from statistics import median
from typing import Any

import numpy as np

from historian.frame import NS
from historian.tags import Tag
from rules.block import Block, Places
from rules.detectors.recording.sources import source_of_tags
from rules.finding import Evidence, Finding, Priority
from rules.line import LineFacts
from rules.seen.episode import Episodes
from rules.table.settings import values_of

RULE = "clock-off"

# What came in the last seconds, or the last few times: the one that was quickest on its way counts.
_LOOKED_AT_NS = 30 * NS
_LEAST = 3
_QUARTER_S = 900.0
_NEAR_S = 10.0
_OWN_S = 60.0


class ClockOff:
    """Rule ``clock-off``: one finding a source."""

    rule = RULE

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag]) -> None:
        self._values = values_of(facts, RULE)
        source = source_of_tags(tags)
        self._told = {n: p for n in sorted(set(source.values())) if (p := offset_path(n)) in tags}
        self._names = sorted(set(source.values()) - self._told.keys())
        self._places = Places({p: self._names.index(s) for p, s in source.items() if s in self._names})
        self._offsets: dict[str, deque[tuple[int, float]]] = {}
        held_s = self._values["held_s"]
        self._episodes = Episodes(held_s, held_s)

    def update(self, block: Block) -> Sequence[Finding]:
        """What the stamps say; judged as time passes."""
        for name, path in self._told.items():
            series = block.series(path)
            if len(series):
                self._see(name, block.arrival_ns, float(series.value[-1]))
        self._compare(block)
        return ()

    def hear(self, late: Block) -> None:
        """A clock that was set back sends times that are there already."""
        self._compare(late)

    def _compare(self, block: Block) -> None:
        source, latest = self._places.of(block.names), block.last(block.time_ns)
        for place in np.unique(source[source >= 0]).tolist():
            newest_ns = int(latest[source == place].max())
            self._see(self._names[place], block.arrival_ns, (newest_ns - block.arrival_ns) / NS)

    def _see(self, name: str, arrival_ns: int, offset_s: float) -> None:
        seen = self._offsets.setdefault(name, deque())
        seen.append((arrival_ns, offset_s))
        least = 1 if name in self._told else _LEAST
        while len(seen) > least and (least == 1 or seen[0][0] <= arrival_ns - _LOOKED_AT_NS):
            seen.popleft()

    def advance(self, now_ns: int) -> Sequence[Finding]:
        """Which clocks are off by now."""
        quickest = {n: max(s for _, s in seen) for n, seen in sorted(self._offsets.items())}
        offsets = {n: s for n, s in quickest.items() if not isnan(s)}
        found: list[Finding] = []
        if len(offsets) > 1 and min(offsets.values()) > _OWN_S:
            return found  # all of them count time of their own
        for name, ahead_s in offsets.items():
            others = [o for n, o in offsets.items() if n != name and abs(o) < _OWN_S]
            late_s = min(median(others), 0.0) if others else 0.0
            ahead = ahead_s > self._values["ahead_s"]
            behind = bool(others) and ahead_s < late_s - self._values["behind_s"]
            change = self._episodes[name].judge(now_ns, ahead or behind)
            if change:
                found.append(self._finding(name, ahead_s, now_ns, active=change > 0))
        return found

    def _finding(self, name: str, ahead_s: float, time_ns: int, *, active: bool) -> Finding:
        far = abs(ahead_s) > self._values["far_s"]
        own = Priority.MEDIUM if far and ahead_s > 0 else Priority.LOW
        onset_ns = self._episodes[name].onset_ns
        sentence = _sentence(name, ahead_s) if active else f"The clock of source {name} is right again."
        figures = {"ahead of arrival": (round(ahead_s, 1), "s")} if active else {}
        evidence = Evidence(min(onset_ns, time_ns), time_ns, (), figures)
        priority, advice = self._values.priority(own), self._values.advice
        return Finding(
            RULE, f"source.{name}", active, time_ns, onset_ns, priority, sentence, advice, evidence
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        kept = {n: [[t, None if isnan(v) else v] for t, v in o] for n, o in self._offsets.items()}
        return {"offsets": kept, "episodes": self._episodes.save()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._offsets = {}
        for name, kept in state["offsets"].items():
            self._offsets[name] = deque((t, float("nan") if v is None else v) for t, v in kept)
        self._episodes.restore(state["episodes"])


def offset_path(source: str) -> str:
    """The recorder's tag that says how far ahead a source's clock is.

    Example:
        >>> offset_path("filter-plc")
        'edge.source.filter_plc.clock.offset.calc'
    """
    return f"edge.source.{source.replace('-', '_')}.clock.offset.calc"


def _sentence(name: str, ahead_s: float) -> str:
    off_s = abs(ahead_s)
    quarters = round(off_s / _QUARTER_S)
    if quarters and abs(off_s - quarters * _QUARTER_S) < _NEAR_S:
        hours = f"{quarters / 4:g} h"
        way = "ahead" if ahead_s > 0 else "behind"
        return f"The clock of source {name} is {hours} {way}: local or summer time is taken for UTC."
    if ahead_s > 0:
        return f"The clock of source {name} is {off_s:.1f} s ahead: its samples arrive before their own time."
    return (
        f"The samples of source {name} come {off_s:.1f} s after their own time, those of the others do not: "
        "its clock is behind, or they are late; which one is not known."
    )
