"""Alarms as the pages show them: bars, word, sentence, and what a person may do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from dashboard.ports import StandingAlarm
from dashboard.views import AlarmView
from dashboard.words import age_s, clock_text, duration_text, place_text
from historian.frame import NS
from rules.finding import Priority
from rules.states import State

WORDS = {
    Priority.HIGH: "now",
    Priority.MEDIUM: "soon",
    Priority.LOW: "when you can",
    Priority.JOURNAL: "noted",
}
BARS = {Priority.HIGH: 3, Priority.MEDIUM: 2, Priority.LOW: 1, Priority.JOURNAL: 0}

_NOT_SHOWN = (State.NORMAL, State.SUPPRESSED, State.OUT_OF_SERVICE)
_UNSEEN = (State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED)
_RETURNED = (State.RETURNED, State.LATCHED, State.LATCHED_ACKNOWLEDGED)
_SEPARATOR = "|"


def alarm_key(rule: str, subject: str) -> str:
    """Rule and subject as one text for a button's name."""
    return f"{rule}{_SEPARATOR}{subject}"


def parts_of(key: str) -> tuple[str, str]:
    """Rule and subject of a key; empty texts where it lacks them."""
    rule, _, rest = key.partition(_SEPARATOR)
    return rule, rest.partition(_SEPARATOR)[0]


def start_of(key: str) -> int | None:
    """When the alarm was raised that a bar stands for; None when the key names the alarm alone."""
    start = key.rpartition(_SEPARATOR)[2]
    return int(start) if start.isdecimal() and len(start) < 20 and key.count(_SEPARATOR) == 2 else None


def alarm_views(
    alarms: Iterable[StandingAlarm], now_ns: int, source_now_ns: int, zone: str, asked: Mapping[str, str]
) -> tuple[AlarmView, ...]:
    """Every alarm that stands or waits to be seen: unseen before seen, grave before slight, new before old.

    Args:
        now_ns: the edge's clock, for shelves.
        source_now_ns: the machines' clock, for how long a condition holds.
        asked: key → what a person asked for that the rules have not taken yet.
    """
    shown = [a for a in alarms if State(a.state) not in _NOT_SHOWN]
    shown.sort(key=_rank)
    return tuple(
        _view(a, now_ns, source_now_ns, zone, asked.get(alarm_key(a.rule, a.subject), "")) for a in shown
    )


def _rank(alarm: StandingAlarm) -> tuple[bool, int, bool, int]:
    state = State(alarm.state)
    return state is State.SHELVED, -int(alarm.priority), state not in _UNSEEN, -alarm.onset_ns


def _view(alarm: StandingAlarm, now_ns: int, source_now_ns: int, zone: str, asked: str) -> AlarmView:
    state, priority = State(alarm.state), Priority(alarm.priority)
    shelved = ""
    if state is State.SHELVED and alarm.shelved_until_ns is not None:
        left = duration_text((alarm.shelved_until_ns - now_ns) / NS)
        shelved = f"shelved, {left} left, until {clock_text(alarm.shelved_until_ns, zone, seconds=False)}"
    return AlarmView(
        key=alarm_key(alarm.rule, alarm.subject),
        rule=alarm.rule,
        subject=alarm.subject,
        bars=BARS[priority],
        word=WORDS[priority],
        place=place_text(alarm.subject),
        sentence=alarm.sentence,
        advice=alarm.advice,
        since=_since(alarm, state, source_now_ns, zone),
        seen=state not in _UNSEEN,
        returned=state in _RETURNED,
        shelved=shelved,
        state_words=state.words,
        asked=asked,
    )


def _since(alarm: StandingAlarm, state: State, now_ns: int, zone: str) -> str:
    onset = clock_text(alarm.onset_ns, zone, now_ns=now_ns, seconds=False)
    if state in _RETURNED:
        over = clock_text(alarm.since_ns, zone, now_ns=now_ns, seconds=False)
        return f"from {onset}; its condition was over at {over}"
    # Whole minutes: whatever changes is drawn anew, and a button must not vanish under a finger.
    minutes = age_s(now_ns, alarm.onset_ns) // 60
    return f"since {onset}" + (f" (for {duration_text(60 * minutes)})" if minutes >= 1 else "")


def evidence_figures(evidence: Mapping[str, Any]) -> tuple[tuple[str, float, str], ...]:
    """Name, value and unit of each figure that convinced the rule; those that are no numbers are left out."""
    found = evidence.get("figures") or {}
    return tuple(
        (str(name).replace("_", " "), float(pair[0]), str(pair[1]))
        for name, pair in found.items()
        if isinstance(pair, list | tuple) and len(pair) == 2 and isinstance(pair[0], int | float)
    )
