"""Whether the sources deliver and the recorder records."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS
from historian.quality import NO_COMMUNICATION, NO_DATA
from historian.tags import Tag, TagKind
from rules.block import Block, Places
from rules.finding import Evidence, Finding, Priority
from rules.line import LineFacts
from rules.table.settings import values_of
from rules.words import clock, count

SILENT = "source-silent"
GAP = "recording-gap"
HEARTBEAT = "edge.heartbeat.state"

_CODE = np.uint32(0xFFFF_0000)
_LOST = np.asarray([NO_DATA, NO_COMMUNICATION], dtype=np.uint32)
# The edge repeats an unchanged value every 60 s: a source with few measured signals may be still so long.
_FEW_ANALOG = 5
_FEW_SILENT_S = 95.0
_JUMP_NS = 10 * NS
# What arrives together was sent within so long; how much of it was silent, the source's own clock tells.
_LOT_NS = 10 * NS
_DELAYS = 6
_NOT_KNOWN = "Whether the machine runs is not known."


class SourceSilent:
    """Rule ``source-silent``: every signal of a source is without data, or nothing arrives from it."""

    rule = SILENT

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag]) -> None:
        self._values = values_of(facts, SILENT)
        source = source_of_tags(tags)
        self._paths = tuple(source)
        self._places = Places({p: n for n, p in enumerate(self._paths)})
        self._known = np.zeros(len(self._paths), dtype=np.bool_)
        self._dark = np.zeros(len(self._paths), dtype=np.bool_)
        self._of = np.zeros(len(self._paths), dtype=np.intp)  # each signal's source, by number
        self._watches: dict[str, _SourceWatch] = {}
        for number, name in enumerate(sorted(set(source.values()))):
            paths = [p for p, s in source.items() if s == name]
            places = [n for n, p in enumerate(self._paths) if source[p] == name]
            self._of[places] = number
            analog = sum(tags[p].kind is TagKind.ANALOG for p in paths)
            floor_s = self._values["silent_s"] if analog >= _FEW_ANALOG else _FEW_SILENT_S
            patience_ns = int(max(self._values["silent_s"], floor_s) * NS)
            self._watches[name] = _SourceWatch(number, paths, np.asarray(places), patience_ns)
        self._now_ns: int | None = None

    def update(self, block: Block) -> Sequence[Finding]:
        """What the samples' qualities say; a lost source is found as time passes."""
        place = self._places.of(block.names)
        mine = place >= 0
        lost = np.isin(block.last(block.quality) & _CODE, _LOST)
        self._known[place[mine]] = True
        self._dark[place[mine]] = lost[mine]
        found: list[Finding] = []
        for name, watch in self._watches.items():
            own = mine & (self._of[place] == watch.number)
            if not own.any():
                continue
            known = self._known[watch.places]
            watch.take(all_dark=bool(self._dark[watch.places][known].all()), arrival_ns=block.arrival_ns)
            heard = own & ~lost
            if not heard.any():
                continue
            newest_ns = block.last(block.time_ns)
            watch.hear(int(newest_ns[heard].max()), block.arrival_ns)
            if watch.silent:
                watch.silent = False
                time_ns = int(newest_ns[np.argmax(heard)])
                sentence = f"Source {name} delivers again."
                found.append(self._finding(name, block.arrival_ns, time_ns, sentence, active=False))
        return found

    def hear(self, late: Block) -> None:
        """What comes late comes all the same: its clock may have been set back."""
        place = self._places.of(late.names)
        lost = np.isin(late.last(late.quality) & _CODE, _LOST)
        for watch in self._watches.values():
            if (
                watch.heard_ns is not None
                and ((place >= 0) & (self._of[place] == watch.number) & ~lost).any()
            ):
                watch.heard_ns = late.arrival_ns

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
            signals = int(np.sum(self._known[watch.places]))
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
        return {
            "now": self._now_ns,
            "known": [p for p, known in zip(self._paths, self._known.tolist(), strict=True) if known],
            "dark": [p for p, dark in zip(self._paths, self._dark.tolist(), strict=True) if dark],
            "sources": {n: w.save() for n, w in self._watches.items()},
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._now_ns = state["now"]
        known, dark = set(state["known"]), set(state["dark"])
        self._known[:] = [p in known for p in self._paths]
        self._dark[:] = [p in dark for p in self._paths]
        for name, watch in self._watches.items():
            watch.restore(state["sources"][name])


class _SourceWatch:
    """One source: which of its signals are without data, and when anything came last (arrival)."""

    def __init__(self, number: int, paths: Sequence[str], places: NDArray[np.intp], patience_ns: int) -> None:
        self.number, self.paths, self.places = number, tuple(paths), places
        self.patience_ns = patience_ns
        self.lost_ns: int | None = None
        self.heard_ns: int | None = None
        self.silent = False
        self._delays: deque[int] = deque(maxlen=_DELAYS)  # from the newest sample to its arrival

    def hear(self, newest_ns: int, arrival_ns: int) -> None:
        """Its newest sample has come; a lot that ends later than usual after it was silent at its end."""
        delay_ns = arrival_ns - newest_ns
        self._delays.append(delay_ns)
        self.heard_ns = arrival_ns - min(delay_ns - min(self._delays), _LOT_NS)

    def take(self, *, all_dark: bool, arrival_ns: int) -> None:
        if not all_dark:
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
            "lost": self.lost_ns,
            "heard": self.heard_ns,
            "silent": self.silent,
            "delays": list(self._delays),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        self.lost_ns, self.heard_ns, self.silent = state["lost"], state["heard"], state["silent"]
        self._delays = deque(state["delays"], maxlen=_DELAYS)


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
