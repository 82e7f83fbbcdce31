"""The machines' own alarms as the live page lists them: apart from ours, in the machines' own words."""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.now import SOURCE_SILENT_NS, Now
from dashboard.words import clock_text
from rules.entry import Entry

SHOWN = 4


def own_alarms(entries: Sequence[Entry], now: Now) -> tuple[str, ...]:
    """What stands on the machines' own lists, the gravest for the machine first; then how many more.

    Args:
        entries: the machines' last word on each alarm that stands.
    """
    grave = sorted(entries, key=lambda e: -int(e.data["data"].get("severity", 0)))
    lines = [_line(entry, now) for entry in grave[:SHOWN]]
    if len(grave) > SHOWN:
        lines.append(f"and {len(grave) - SHOWN} more; the journal has them all")
    return tuple(lines)


def _line(entry: Entry, now: Now) -> str:
    alarm = entry.data["data"]
    of = f"{entry.by}, {alarm['source_name']}" if alarm.get("source_name") else entry.by
    state = "" if alarm.get("active") else ", over but not acknowledged there"
    state = state or (", acknowledged there" if alarm.get("acked") else "")
    clock = clock_text(entry.time_ns, now.zone, now_ns=now.now_ns, seconds=False)
    if now.now_ns - now.heard_ns.get(entry.by, 0) > SOURCE_SILENT_NS:
        state = ", as last heard; whether it still stands is not known"
    words = alarm.get("message") or alarm.get("name") or "no text"
    return f"{of}: {words} (severity {alarm.get('severity', 0)}, told at {clock}{state})"
