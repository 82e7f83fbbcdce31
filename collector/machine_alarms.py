"""The machine's own alarms, change by change. They are told beside ours and never become ours.

The machine's severity is kept as it is and is no priority of ours; nothing here acknowledges anything.
Source: OPC 10000-9, 5.5 (ConditionType), 5.7 (AcknowledgeableConditionType), 5.8 (AlarmConditionType).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any, Final

from historian.event import Event

MACHINE_ALARM: Final = "machine-alarm"
"""Kind of the event that tells of a change of one of the machine's alarms."""

MACHINE_EVENT: Final = "machine-event"
"""Kind of the event that passes on what the machine said without standing by it."""

GONE: Final = "not standing any more after the gap"

_OVER_REMEMBERED = 10_000  # alarms that do not stand; their last word tells a repetition from a change


@dataclass(frozen=True, slots=True)
class MachineAlarm:
    """How one of the machine's alarms stands, as the machine last said.

    Attributes:
        condition: which alarm: its node with its namespace's URI, and the branch when there is one.
        source_name: the part of the machine that it is about.
        name: of the alarm.
        alarm_class: the machine's class of it, such as "Process".
        severity: the machine's own, 1 to 1000.
        active: whether it is wrong now.
        acked: whether somebody has acknowledged it at the machine.
        retain: whether it still stands: it is active, or waits for somebody.
        message: the machine's words.
        event_id: number of the notification, hexadecimal.
        time_ns: the machine's time of it, UTC nanoseconds; 0 when it gave none.
        confirmed, shelved, suppressed, enabled: None where the machine does not say.
        comment: what somebody wrote at the machine.
        by: who acted there, as the machine says.
    """

    condition: str
    source_name: str
    name: str
    alarm_class: str
    severity: int
    active: bool
    acked: bool
    retain: bool
    message: str
    event_id: str
    time_ns: int
    confirmed: bool | None = None
    shelved: bool | None = None
    suppressed: bool | None = None
    enabled: bool | None = None
    comment: str = ""
    by: str = ""

    def to_json(self) -> dict[str, Any]:
        """The alarm as JSON types."""
        return asdict(self)

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> MachineAlarm:
        """The alarm that ``to_json`` wrote; further keys are passed over."""
        return cls(**{f.name: data[f.name] for f in fields(cls) if f.name in data})


_TURNS: Final = (
    ("enabled", True, "enabled", "disabled"),
    ("acked", True, "acknowledged", "to be acknowledged again"),
    ("confirmed", True, "confirmed", "to be confirmed again"),
    ("shelved", False, "shelved", "unshelved"),
    ("suppressed", False, "suppressed", "not suppressed any more"),
)
"""State, how it is before anything was heard, and what a turn to true and to false is called."""


def changes(before: MachineAlarm | None, now: MachineAlarm) -> tuple[str, ...]:
    """What the machine did since its last word, in words.

    Args:
        before: its last word; None when this is the first.

    Example:
        >>> came = MachineAlarm("i=1", "filter", "High", "", 500, True, False, True, "p high", "01", 1)
        >>> changes(None, came), changes(came, replace(came, acked=True, active=False, retain=False))
        (('came',), ('returned', 'acknowledged'))
    """
    was_active = before.active if before is not None else False
    said = ["came"] if now.active and not was_active else []
    if was_active and not now.active:
        said.append("returned")
    for state, at_first, to_true, to_false in _TURNS:
        new = getattr(now, state)
        old = getattr(before, state) if before is not None else None
        old = at_first if old is None else old
        if new is None or new == old or ("came" in said and state in ("acked", "confirmed") and not new):
            continue
        said.append(to_true if new else to_false)
    if now.comment and now.comment != (before.comment if before is not None else ""):
        said.append("commented")
    return tuple(said) or ("told again, otherwise than before" if before is not None else "told",)


class AlarmBook:
    """Which alarms of one machine stand, told once for each change.

    Args:
        source: name of the source.
        standing: what stood by the last words that were kept before a restart.
    """

    def __init__(self, source: str, standing: Iterable[MachineAlarm] = ()) -> None:
        self._source = source
        self._standing = {a.condition: a for a in standing if a.retain}
        self._over: dict[str, MachineAlarm] = {}
        self._refreshed: set[str] | None = None

    @property
    def standing(self) -> tuple[MachineAlarm, ...]:
        """The alarms that stood by the machine's last word."""
        return tuple(self._standing.values())

    def take(self, alarm: MachineAlarm, at_ns: int) -> Event | None:
        """The machine says how an alarm stands; the event to tell unless this is known already.

        Args:
            at_ns: the edge's time.
        """
        if self._refreshed is not None and alarm.retain:
            self._refreshed.add(alarm.condition)
        before = self._standing.get(alarm.condition) or self._over.get(alarm.condition)
        if before is not None and _same(before, alarm):
            return None
        self._keep(alarm)
        return self._told(alarm, changes(before, alarm), at_ns)

    def refresh_began(self) -> None:
        """The machine begins to tell everything that stands."""
        self._refreshed = set()

    def refresh_ended(self, at_ns: int) -> list[Event]:
        """The machine has told everything that stands: what it did not name is over."""
        if self._refreshed is None:
            return []
        gone = [a for c, a in self._standing.items() if c not in self._refreshed]
        self._refreshed = None
        over = [replace(a, active=False, retain=False) for a in gone]
        for alarm in over:
            self._keep(alarm)
        return [self._told(alarm, (GONE,), at_ns) for alarm in over]

    def lost(self, at_ns: int) -> Event | None:
        """The machine cannot be heard any more; the event that says what is not known from here on."""
        self._refreshed = None
        if not self._standing:
            return None
        names = [a.name or a.condition for a in self._standing.values()]
        still = "it still does" if len(names) == 1 else "they still do"
        text = (
            f"{len(names)} of the own alarms of source {self._source} stood when it was last heard "
            f"({_listed(names)}). Whether {still} is not known until it is back. "
            "Remedy: look at the machine's panel."
        )
        data = {"conditions": list(self._standing)}
        return Event(at_ns, self._source, "machine-alarms-unknown", text, data)

    def _keep(self, alarm: MachineAlarm) -> None:
        self._over.pop(alarm.condition, None)
        if alarm.retain:
            self._standing[alarm.condition] = alarm
            return
        self._standing.pop(alarm.condition, None)
        self._over[alarm.condition] = alarm
        if len(self._over) > _OVER_REMEMBERED:
            del self._over[next(iter(self._over))]

    def _told(self, alarm: MachineAlarm, what: tuple[str, ...], at_ns: int) -> Event:
        of = f" of {alarm.source_name}" if alarm.source_name else ""
        by = f" by {alarm.by}" if alarm.by and "acknowledged" in what else ""
        text = (
            f"The machine's own alarm {alarm.name or alarm.condition}{of}: {', '.join(what)}{by}. "
            f"{alarm.message or 'It gives no text.'} (The machine's severity: {alarm.severity} of 1000.)"
        )
        if "commented" in what:
            text += f" Comment at the machine: {alarm.comment}"
        return Event(at_ns, self._source, MACHINE_ALARM, text, {**alarm.to_json(), "changes": list(what)})


def _same(before: MachineAlarm, now: MachineAlarm) -> bool:
    """Whether the machine repeats itself.

    Some servers give a repetition a number of its own, others keep the number and put the time of now.
    """
    if before.event_id == now.event_id and now.event_id:
        return replace(before, time_ns=now.time_ns) == now
    return replace(before, event_id=now.event_id) == now


def _listed(names: list[str]) -> str:
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
