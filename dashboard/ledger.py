"""Puts a window's lanes and curves together into one ledger."""

from __future__ import annotations

from dashboard.cleaning_watch import INLET, OUTLET, difference
from dashboard.curves import DP, row_of, rows_asked
from dashboard.lanes import Lanes
from dashboard.views import Ledger
from dashboard.words import clock_text, duration_text, local_time, offset_ms, offset_text
from historian.envelope import Envelope, envelope_of
from historian.frame import NS
from historian.store import Store

MOST_COLUMNS = 1000


def ledger_of(
    store: Store, lanes: Lanes, window: tuple[int, int], offset: int, columns: int, zone: str
) -> Ledger:
    """Lanes and rows of a window on one axis.

    Args:
        offset: milliseconds that the axis is ahead of UTC, the same over the whole window.
        columns: pixel columns of the picture.
    """
    start_ns, end_ns = window
    columns = max(50, min(columns, MOST_COLUMNS))
    tags = store.tags()
    asked = rows_asked(tags)
    paths = list(dict.fromkeys(path for a in asked for path, *_ in a.curves))
    outlines = _outlines(store, [p for p in paths if p in tags], start_ns, end_ns, columns)
    if DP in paths and DP not in tags:
        pressures = store.read([INLET, OUTLET], start_ns, end_ns)
        taken = difference(pressures[INLET], pressures[OUTLET])
        outlines[DP] = envelope_of(taken, start_ns, end_ns, columns)
    rows = tuple(row_of(a, outlines, window, columns, offset, zone) for a in asked)
    return Ledger(
        start_ns=start_ns,
        end_ns=end_ns,
        offset_ms=offset,
        axis=f"{zone} ({offset_text(offset)})",
        title="",
        sentence=_sentence(lanes, window, zone),
        phases=lanes.phases,
        settings=lanes.settings,
        alarms=lanes.alarms,
        cleanings=lanes.cleanings,
        notes=lanes.notes,
        rows=tuple(r for r in rows if r.curves),
        lines=lanes.lines,
    )


def _outlines(
    store: Store, paths: list[str], start_ns: int, end_ns: int, columns: int
) -> dict[str, Envelope]:
    """One reading for all tags: the store keeps them side by side."""
    found = store.read(paths, start_ns, end_ns, bound_before=True) if paths else {}
    return {
        p: envelope_of(s, min(start_ns, int(s.time_ns[0]) if len(s) else start_ns), end_ns, columns)
        for p, s in found.items()
    }


def _sentence(lanes: Lanes, window: tuple[int, int], zone: str) -> str:
    """What the window holds, in one sentence."""
    start_ns, end_ns = window
    day = local_time(start_ns, zone)
    date = f"{day.day} {day.strftime('%b %Y')}"
    until = clock_text(end_ns, zone, now_ns=start_ns, seconds=False)
    span = f"{clock_text(start_ns, zone, seconds=False)}–{until}"
    counts = [
        _count(len(lanes.cleanings), "cleaning"),
        _count(len(lanes.lines), "alarm"),
        _count(len(lanes.settings), "settings change"),
        _count(len(lanes.notes), "note or mark", "notes and marks"),
    ]
    told = f"{date}, {span} ({duration_text((end_ns - start_ns) / NS)}): {', '.join(counts)}."
    offset = offset_ms(start_ns, zone)
    if offset != offset_ms(end_ns, zone):
        told += f" The site's clock changed within this window; the axis stays at {offset_text(offset)}."
    return told


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number or 'no'} {one if number == 1 else many or one + 's'}"
