"""Who may do what to an alarm, and for how long it may be shelved. Pure: all times are arguments."""

from __future__ import annotations

from rules.entry import Act, ActKind
from rules.finding import Priority

MINUTE_NS = 60_000_000_000
# A high alarm that nobody sees for more than an hour is nobody's: derived here.
HIGH_SHELF_NS = 60 * MINUTE_NS
# common practice, no source: no shelf outlives a day.
SHELF_NS = 24 * 60 * MINUTE_NS
ENGINEER = "engineer"


def objection(act: Act, priority: Priority, at_ns: int) -> str:
    """Why the person may not do this to an alarm of that priority; empty when they may.

    Args:
        at_ns: when the act would be taken, UTC nanoseconds.
    """
    if act.what in (ActKind.OUT_OF_SERVICE, ActKind.IN_SERVICE) and act.role != ENGINEER:
        return "only an engineer takes an alarm out of service or puts it back"
    if act.what in (ActKind.OUT_OF_SERVICE, ActKind.SHELVE) and not act.reason.strip():
        return f"'{act.what}' needs a reason"
    return _shelf_objection(act, priority, at_ns) if act.what is ActKind.SHELVE else ""


def _shelf_objection(act: Act, priority: Priority, at_ns: int) -> str:
    high = priority is Priority.HIGH
    longest_ns = HIGH_SHELF_NS if high else SHELF_NS
    if high and act.role != ENGINEER:
        return "only an engineer shelves an alarm of high priority"
    if act.until_ns is None:
        return "a shelf needs an end"
    if act.until_ns <= at_ns:
        return "the end of the shelf has passed already"
    if act.until_ns - min(act.time_ns, at_ns) > longest_ns:
        limit = f"{longest_ns // MINUTE_NS} min" if high else f"{longest_ns // (60 * MINUTE_NS)} h"
        return f"an alarm of {priority.name.lower()} priority is shelved for at most {limit}"
    return ""
