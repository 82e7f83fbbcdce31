"""The alarms of a stretch of time as bars: thick until somebody saw them, thin until they returned."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from rules.entry import Entry, EntryKind
from rules.finding import Priority
from rules.states import State

_Name = tuple[str, str]
_ALARMING = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)
RETURNED = "returned"
RE_ALARM = "re-alarm"


@dataclass(frozen=True, slots=True)
class AlarmBar:
    """One time that an alarm stood.

    Attributes:
        priority: the highest while it stood.
        sentence: the last one while it stood.
        start_ns: when it was raised; of a late one: the source time of the sample that decided.
        seen_ns: when a person saw it, which may be after its end; None: nobody did.
        end_ns: when the condition had gone, or the alarm was hidden; None: it stands still.
        ended: "returned", "re-alarm" (a new bar begins), or the words of the hidden state; empty while it
            stands.
        late: found in samples that came late: nobody was called.
    """

    rule: str
    subject: str
    priority: Priority
    sentence: str
    start_ns: int
    seen_ns: int | None = None
    end_ns: int | None = None
    ended: str = ""
    late: bool = False

    def meets(self, start_ns: int, end_ns: int) -> bool:
        """Whether any of it lies in start ≤ time < end."""
        return self.start_ns < end_ns and (self.end_ns is None or self.end_ns >= start_ns)


def alarm_bars(entries: Iterable[Entry]) -> list[AlarmBar]:
    """Every time that an alarm stood, in the order of its start.

    Args:
        entries: in the order in which they were written; from before the stretch of interest, so that alarms
            that stood at its start are there. Of one that was raised before the first entry, the start is
            when its condition is thought to have begun.
    """
    live, late = _Bars(), _Bars()
    for entry in entries:
        if entry.kind is EntryKind.TRANSITION:
            _follow_transition(live, entry)
        elif entry.kind is EntryKind.FINDING and entry.data["late"] and not calls_nobody(entry):
            _follow_late(late, entry)
    return sorted([*live.all(), *late.all()], key=lambda b: (b.start_ns, b.rule, b.subject))


def calls_nobody(entry: Entry) -> bool:
    """Whether a finding is only written down: over as soon as found, or of the lowest priority."""
    return bool(entry.data["momentary"]) or entry.data["priority"] == Priority.JOURNAL


class _Bars:
    """Bars under way and bars that are over, by alarm."""

    def __init__(self) -> None:
        self.open: dict[_Name, AlarmBar] = {}
        self.over: dict[_Name, list[AlarmBar]] = {}

    def begin(self, name: _Name, bar: AlarmBar) -> None:
        self.open[name] = bar

    def end(self, name: _Name, time_ns: int, why: str) -> None:
        bar = self.open.pop(name, None)
        if bar is not None:
            self.over.setdefault(name, []).append(replace(bar, end_ns=time_ns, ended=why))

    def all(self) -> Iterable[AlarmBar]:
        for bars in self.over.values():
            yield from bars
        yield from self.open.values()


def _follow_transition(bars: _Bars, entry: Entry) -> None:
    name, data = (entry.rule, entry.subject), entry.data
    before, after = State(data["from"]), State(data["to"])
    if before in _ALARMING and name not in bars.open:
        bar = _bar(entry, min(data["onset_ns"], entry.time_ns))
        bars.begin(name, replace(bar, seen_ns=bar.start_ns if before is State.ACKNOWLEDGED else None))
    if after is State.UNACKNOWLEDGED and before is not after:
        bars.end(name, entry.time_ns, RE_ALARM)
        bars.begin(name, _bar(entry, entry.time_ns))
    elif after in _ALARMING:
        bar = bars.open[name]
        seen_ns = entry.time_ns if after is not before else bar.seen_ns
        priority = max(bar.priority, Priority(data["priority"]))
        bars.open[name] = replace(bar, seen_ns=seen_ns, priority=priority, sentence=data["sentence"])
    elif before in _ALARMING:
        bars.end(name, entry.time_ns, after.words if after.hidden else RETURNED)
    elif data["event"] == "seen" and bars.over.get(name):
        bars.over[name][-1] = replace(bars.over[name][-1], seen_ns=entry.time_ns)


def _follow_late(bars: _Bars, entry: Entry) -> None:
    name = (entry.rule, entry.subject)
    bar = bars.open.get(name)
    if not entry.data["active"]:
        if bar is not None and entry.time_ns >= bar.start_ns:
            bars.end(name, entry.time_ns, RETURNED)
    elif bar is None:
        bars.begin(name, replace(_bar(entry, entry.time_ns), late=True))
    elif entry.time_ns < bar.start_ns:
        # The late rules began anew: the end of the one before was not found.
        bars.over.setdefault(name, []).append(bar)
        bars.begin(name, replace(_bar(entry, entry.time_ns), late=True))


def _bar(entry: Entry, start_ns: int) -> AlarmBar:
    data = entry.data
    return AlarmBar(entry.rule, entry.subject, Priority(data["priority"]), data["sentence"], start_ns)
