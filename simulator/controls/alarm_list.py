"""The machine's own short alarm list: what its limits and its controls say, standing until acknowledged."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from historian.event import Event
from historian.quality import BAD
from simulator.controls.alarm_kinds import (
    KINDS,
    LINE_TRIP,
    START_REFUSED,
    WIPER_FAULT,
    AlarmKind,
    Values,
)
from simulator.controls.line_control import WIPER_DRIVE
from simulator.controls.view import Message
from simulator.published import Sample

# A refusal stands so many seconds, so that somebody can read it.
_REFUSED_S = 10
MACHINE_ALARM = "machine-alarm"


@dataclass(slots=True)
class Alarm:
    """The state of one entry.

    Attributes:
        kind: which entry.
        active: whether it is wrong now.
        acked: whether somebody has acknowledged it since it became active.
        since_ns: source time of the last change.
        message: for a person, what is wrong, or was.
    """

    kind: AlarmKind
    active: bool = False
    acked: bool = True
    since_ns: int = 0
    message: str = ""

    @property
    def retained(self) -> bool:
        """Whether somebody still has to know of it."""
        return self.active or not self.acked


@dataclass
class AlarmList:
    """The alarms of a machine, moved on by each second's published samples."""

    alarms: list[Alarm] = field(default_factory=lambda: [Alarm(kind) for kind in KINDS])
    _now: dict[str, float] = field(default_factory=dict)
    _wrong_s: dict[str, int] = field(default_factory=dict)
    _told: dict[str, dict[str, str]] = field(default_factory=dict)
    _refused_s: int = 0

    def hear(self, messages: Iterable[Message]) -> None:
        """Take what the controls said; it counts from the next second's samples on."""
        for message in messages:
            entry = WIPER_FAULT if message.key == WIPER_DRIVE else LINE_TRIP
            if message.kind == "tripped":
                self._told.setdefault(entry, {})[message.key] = message.text
            elif message.kind == "reset":
                self._told.get(entry, {}).pop(message.key, None)
            elif message.kind == "refused":
                self._told[START_REFUSED] = {message.key: message.text}
                self._refused_s = _REFUSED_S

    def judge(self, samples: Iterable[Sample]) -> list[Alarm]:
        """Take one second's samples; the alarms that changed."""
        time_ns = 0
        values = {}
        for sample in samples:
            # The controller judges the value that it shows, unless it knows it to be none.
            if not sample.quality & BAD:
                values[sample.path] = sample.value
            time_ns = max(time_ns, sample.time_ns)
        return self.judge_values(values, time_ns)

    def judge_values(self, values: Mapping[str, float], time_ns: int) -> list[Alarm]:
        """Take one second's good values by path; the alarms that changed."""
        before = self._now
        self._now = {**before, **values}
        changed = [alarm for alarm in self.alarms if self._moved(alarm, before, time_ns)]
        if self._refused_s > 0:
            self._refused_s -= 1
            if self._refused_s == 0:
                self._told.pop(START_REFUSED, None)
        return changed

    def acknowledge(self, name: str) -> None:
        """Somebody has seen it; an entry that is acknowledged already stays as it is."""
        for alarm in self.alarms:
            if alarm.kind.name == name:
                alarm.acked = True

    def texts(self) -> list[str]:
        """The plain list: what is active, the longest standing first."""
        active = sorted((a for a in self.alarms if a.active), key=lambda a: a.since_ns)
        return [a.message for a in active]

    def _moved(self, alarm: Alarm, before: Values, time_ns: int) -> bool:
        kind = alarm.kind
        told = self._told.get(kind.name)
        wrong = next(iter(told.values())) if told else kind.rule(self._now, before, alarm.active)
        count = self._wrong_s.get(kind.name, 0) + 1 if wrong else 0
        self._wrong_s[kind.name] = count
        # What the controls say needs no delay: they have waited themselves.
        active = bool(told) or count >= kind.delay_s
        if active == alarm.active:
            return False
        alarm.active, alarm.since_ns = active, time_ns
        if active:
            alarm.acked, alarm.message = False, f"{kind.text} ({wrong})"
        return True


def event_of(alarm: Alarm, source: str) -> Event:
    """The last change of an entry as an event."""
    kind = alarm.kind
    word = "came" if alarm.active else "went"
    data = {"name": kind.name, "active": alarm.active, "severity": kind.severity}
    return Event(alarm.since_ns, source, MACHINE_ALARM, f"{word}: {alarm.message}", data)
