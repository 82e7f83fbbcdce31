"""Whether the sources deliver and the recorder records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from historian.frame import NS
from historian.quality import NO_COMMUNICATION, NO_DATA
from historian.tags import Tag, TagKind
from rules.block import Block
from rules.finding import Evidence, Finding, Priority
from rules.line import LineFacts
from rules.table.settings import values_of
from rules.words import clock, count

SILENT = "source-silent"
GAP = "recording-gap"
HEARTBEAT = "edge.heartbeat.state"

_CODE = 0xFFFF_0000
_LOST = frozenset((NO_DATA, NO_COMMUNICATION))
# The edge repeats an unchanged value every 60 s: a source with few measured signals may be still so long.
_FEW_ANALOG = 5
_FEW_SILENT_S = 95.0
_JUMP_NS = 10 * NS
_NOT_KNOWN = "Whether the machine runs is not known."


class SourceSilent:
    """Rule ``source-silent``: every signal of a source is without data, or nothing arrives from it."""

    rule = SILENT

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag]) -> None:
        self._values = values_of(facts, SILENT)
        self._source = source_of_tags(tags)
        self._watches: dict[str, _SourceWatch] = {}
        for name in sorted(set(self._source.values())):
            paths = [p for p, s in self._source.items() if s == name]
            analog = sum(tags[p].kind is TagKind.ANALOG for p in paths)
            floor_s = self._values["silent_s"] if analog >= _FEW_ANALOG else _FEW_SILENT_S
            self._watches[name] = _SourceWatch(paths, int(max(self._values["silent_s"], floor_s) * NS))
        self._now_ns: int | None = None

    def update(self, block: Block) -> Sequence[Finding]:
        """What the samples' qualities say; a lost source is found as time passes."""
        found: list[Finding] = []
        for path in block.paths():
            name = self._source.get(path)
            if name is None:
                continue
            series = block.series(path)
            watch = self._watches[name]
            lost = (int(series.quality[-1]) & _CODE) in _LOST
            watch.take(path, lost, block.arrival_ns)
            if watch.silent and not lost:
                watch.silent = False
                sentence = f"Source {name} delivers again."
                found.append(
                    self._finding(name, block.arrival_ns, int(series.time_ns[-1]), sentence, active=False)
                )
        return found

    def advance(self, now_ns: int) -> Sequence[Finding]:
        """Which sources are without data by now."""
        if self._now_ns is None or now_ns - self._now_ns > _JUMP_NS:
            # The recorder itself was away: nothing could arrive meanwhile.
            for watch in self._watches.values():
                watch.forgive(now_ns)
        self._now_ns = now_ns
        found = []
        for name, watch in self._watches.items():
            sentence = "" if watch.silent else self._why(name, watch, now_ns)
            if sentence:
                watch.silent = True
                found.append(self._finding(name, watch.onset_ns(now_ns), now_ns, sentence, active=True))
        return found

    def _why(self, name: str, watch: _SourceWatch, now_ns: int) -> str:
        if watch.lost_ns is not None and now_ns - watch.lost_ns > self._values["bad_s"] * NS:
            signals = len(watch.known)
            what = "its signal is" if signals == 1 else f"all {count(signals)} signals are"
            return f"Source {name} is silent: {what} without data. {_NOT_KNOWN}"
        if watch.heard_ns is not None and now_ns - watch.heard_ns > watch.patience_ns:
            quiet_s = (now_ns - watch.heard_ns) / NS
            return f"Nothing has come from source {name} for {quiet_s:.0f} s. {_NOT_KNOWN}"
        return ""

    def _finding(self, name: str, onset_ns: int, time_ns: int, sentence: str, *, active: bool) -> Finding:
        watch = self._watches[name]
        quiet_s = max(time_ns - onset_ns, 0) / NS
        figures = {"without data": (round(quiet_s, 1), "s"), "signals": (float(len(watch.paths)), "1")}
        evidence = Evidence(
            min(onset_ns, time_ns), time_ns, tuple(watch.paths[:5]), figures if active else {}
        )
        values = self._values
        subject = f"source.{name}"
        priority, advice = values.priority(), values.advice
        return Finding(SILENT, subject, active, time_ns, onset_ns, priority, sentence, advice, evidence)

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {"now": self._now_ns, "sources": {n: w.save() for n, w in self._watches.items()}}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._now_ns = state["now"]
        for name, watch in self._watches.items():
            watch.restore(state["sources"][name])


class _SourceWatch:
    """One source: which of its signals are without data, and when anything came last (arrival)."""

    def __init__(self, paths: Sequence[str], patience_ns: int) -> None:
        self.paths = tuple(paths)
        self.patience_ns = patience_ns
        self.known: set[str] = set()
        self.dark: set[str] = set()
        self.lost_ns: int | None = None
        self.heard_ns: int | None = None
        self.silent = False

    def take(self, path: str, lost: bool, arrival_ns: int) -> None:
        self.known.add(path)
        if lost:
            self.dark.add(path)
        else:
            self.dark.discard(path)
            self.heard_ns = arrival_ns
        if len(self.dark) < len(self.known):
            self.lost_ns = None
        elif self.lost_ns is None:
            self.lost_ns = arrival_ns

    def forgive(self, now_ns: int) -> None:
        """Begin to wait now."""
        if self.heard_ns is None or self.heard_ns < now_ns - NS:
            self.heard_ns = now_ns

    def onset_ns(self, now_ns: int) -> int:
        known = [t for t in (self.lost_ns, self.heard_ns) if t is not None]
        return min(known, default=now_ns)

    def save(self) -> dict[str, Any]:
        return {
            "known": sorted(self.known),
            "dark": sorted(self.dark),
            "lost": self.lost_ns,
            "heard": self.heard_ns,
            "silent": self.silent,
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        self.known, self.dark = set(state["known"]), set(state["dark"])
        self.lost_ns, self.heard_ns, self.silent = state["lost"], state["heard"], state["silent"]


class RecordingGap:
    """Rule ``recording-gap``: the edge's heartbeat paused, so nothing was recorded meanwhile.

    The heartbeat's source time is the recorder's own clock, hence its time of arrival.
    """

    rule = GAP

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag]) -> None:
        self._values = values_of(facts, GAP)
        self._last_ns: int | None = None
        self._in_order = False  # the last heartbeat said "stopped in order"

    def update(self, block: Block) -> Sequence[Finding]:
        """The pauses between heartbeats."""
        series = block.series(HEARTBEAT)
        found = []
        for time_ns, value in zip(series.time_ns.tolist(), series.value.tolist(), strict=True):
            last_ns = self._last_ns
            if last_ns is not None and time_ns <= last_ns:
                continue
            if last_ns is not None and time_ns - last_ns > self._values["gap_s"] * NS:
                found.append(self._finding(last_ns, time_ns))
            self._last_ns, self._in_order = time_ns, value == 0
        return found

    def advance(self, now_ns: int) -> Sequence[Finding]:
        """Nothing: a gap is seen when it is over."""
        return ()

    def _finding(self, from_ns: int, to_ns: int) -> Finding:
        why = "the recorder had been stopped in order" if self._in_order else "power or the recorder was gone"
        sentence = f"Nothing was recorded from {clock(from_ns)} to {clock(to_ns)}: {why}."
        own = Priority.JOURNAL if self._in_order else Priority.LOW
        figures = {"without record": ((to_ns - from_ns) / NS, "s")}
        evidence = Evidence(from_ns, to_ns, (HEARTBEAT,), figures)
        priority, advice = self._values.priority(own), self._values.advice
        return Finding(
            GAP, "edge.heartbeat", True, to_ns, from_ns, priority, sentence, advice, evidence, momentary=True
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {"last": self._last_ns, "in_order": self._in_order}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._last_ns, self._in_order = state["last"], state["in_order"]


def source_of_tags(tags: Mapping[str, Tag]) -> dict[str, str]:
    """The source of each tag that has one; the recorder's own tags are left out."""
    return {
        p: t.source for p, t in tags.items() if t.source and t.source != "edge" and not p.startswith("edge.")
    }
