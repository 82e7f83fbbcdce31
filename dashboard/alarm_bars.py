"""Alarms of a window as bars by life cycle, and why each was raised."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from dashboard.alarm_views import BARS, WORDS, alarm_key, evidence_figures
from dashboard.views import AlarmLine, Band, EvidenceView
from dashboard.words import clock_text, number_text, place_text, unit_text
from rules.entry import Entry, EntryKind
from rules.finding import Priority
from rules.states import State
from trials.bars import RETURNED, AlarmBar

_FOUND_BEFORE_NS = 60_000_000_000


def bars_of(
    found: Sequence[AlarmBar], window: tuple[int, int], offset_ms: int, zone: str
) -> tuple[Band, ...]:
    """The alarms of a window as bars, one lane an alarm, the earliest on top."""
    lanes: dict[str, int] = {}
    bands: list[Band] = []
    for bar in sorted(found, key=lambda b: b.start_ns):
        key = alarm_key(bar.rule, bar.subject)
        lane = lanes.setdefault(key, len(lanes))
        text = place_text(bar.subject) + (", found late" if bar.late else "")
        hover = f"{WORDS[bar.priority]}: {bar.sentence}<br>{_life(bar, zone)}"
        for start_ns, end_ns, heavy, hollow in _parts(bar, window[1]):
            if start_ns >= window[1] or end_ns <= window[0]:
                continue
            bands.append(
                Band(
                    max(start_ns, window[0]) / 1e6 + offset_ms,
                    min(end_ns, window[1]) / 1e6 + offset_ms,
                    "" if any(b.lane == lane for b in bands) else text,
                    hover,
                    BARS[bar.priority],
                    heavy,
                    hollow,
                    f"{key}|{bar.start_ns}",
                    lane,
                )
            )
    return tuple(bands)


def _parts(bar: AlarmBar, until_ns: int) -> Iterator[tuple[int, int, bool, bool]]:
    """Start, end, thick, hollow: thick until seen, thin until over; hollow while over and not seen."""
    end_ns = until_ns if bar.end_ns is None else bar.end_ns
    if bar.late:
        yield bar.start_ns, max(end_ns, bar.start_ns + 1), False, True
        return
    seen_ns = until_ns if bar.seen_ns is None else bar.seen_ns
    yield bar.start_ns, max(min(seen_ns, end_ns), bar.start_ns + 1), True, False
    if seen_ns < end_ns:
        yield seen_ns, end_ns, False, False
    elif bar.ended == RETURNED and seen_ns > end_ns:
        yield end_ns, seen_ns, False, True


def _life(bar: AlarmBar, zone: str) -> str:
    """When it was raised, seen and over, in words."""
    parts = [f"{'found late, from' if bar.late else 'raised'} {clock_text(bar.start_ns, zone)}"]
    if not bar.late:
        parts.append(
            "not seen by anybody" if bar.seen_ns is None else f"seen {clock_text(bar.seen_ns, zone)}"
        )
    parts.append("still standing" if bar.end_ns is None else f"{bar.ended} {clock_text(bar.end_ns, zone)}")
    return ", ".join(parts)


def lines_of(found: Sequence[AlarmBar], window: tuple[int, int], zone: str) -> tuple[AlarmLine, ...]:
    """One line an alarm for the table below the picture, gravest first."""
    by_key: dict[str, list[AlarmBar]] = {}
    for bar in found:
        by_key.setdefault(alarm_key(bar.rule, bar.subject), []).append(bar)
    lines = [_line(key, bars, window, zone) for key, bars in by_key.items()]
    return tuple(sorted(lines, key=lambda line: -line.bars))


def _line(key: str, bars: Sequence[AlarmBar], window: tuple[int, int], zone: str) -> AlarmLine:
    worst = max(bars, key=lambda b: (b.priority, b.start_ns))
    last = max(bars, key=lambda b: b.start_ns)
    start = clock_text(min(b.start_ns for b in bars), zone, now_ns=window[1], seconds=False)
    until = "still standing" if last.end_ns is None else f"to {clock_text(last.end_ns, zone, seconds=False)}"
    times = f", {len(bars)} times" if len(bars) > 1 else ""
    late = all(b.late for b in bars)
    grade = (BARS[worst.priority], WORDS[worst.priority], place_text(worst.subject))
    return AlarmLine(key, *grade, worst.sentence, f"{start} {until}{times}", late)


def evidence_of(
    entries: Sequence[Entry],
    rule: str,
    subject: str,
    zone: str,
    *,
    start_ns: int | None = None,
    before_ns: int | None = None,
) -> EvidenceView | None:
    """Why an alarm was raised, and what people did about it since; None when the entries do not tell.

    Args:
        start_ns: when it was raised; None: the last time, before ``before_ns`` where that is given.
    """
    own = [e for e in entries if (e.rule, e.subject) == (rule, subject)]
    if start_ns is None:
        start_ns = max((t for t in _raisings(own) if before_ns is None or t < before_ns), default=None)
    if start_ns is not None:
        own = _one_life(own, start_ns)
    told = [e for e in own if e.kind in (EntryKind.FINDING, EntryKind.TRANSITION) and _raised(e)]
    if not told:
        return None
    data = told[-1].data
    evidence: Mapping[str, Any] = data.get("evidence") or {}
    start_ns, end_ns = int(evidence.get("start_ns", 0)), int(evidence.get("end_ns", 0))
    priority = Priority(data["priority"])
    figures = tuple(
        (name, f"{number_text(value, unit)} {unit_text(unit)}".strip())
        for name, value, unit in evidence_figures(evidence)
    )
    return EvidenceView(
        sentence=str(data["sentence"]),
        advice=str(data["advice"]),
        place=place_text(subject),
        word=WORDS[priority],
        bars=BARS[priority],
        window=f"looked at {clock_text(start_ns, zone)}–{clock_text(end_ns, zone)}",
        window_ns=(start_ns, end_ns),
        tags=tuple(str(t) for t in evidence.get("tags", ())),
        figures=figures,
        acts=tuple(_acts(own, zone)),
    )


_HAPPENED = {
    State.NORMAL: "over",
    State.UNACKNOWLEDGED: "raised",
    State.ACKNOWLEDGED: "seen, still standing",
    State.RETURNED: "over, not yet seen",
    State.LATCHED: "over, not yet seen; stays until it is reset",
    State.LATCHED_ACKNOWLEDGED: "over and seen; stays until it is reset",
    State.SHELVED: "kept from sight",
    State.SUPPRESSED: "kept from sight by the line's design",
    State.OUT_OF_SERVICE: "taken out of service",
}


def _raisings(own: Sequence[Entry]) -> list[int]:
    """When an alarm was raised, each time."""
    return [
        e.time_ns
        for e in own
        if e.kind is EntryKind.TRANSITION
        and State(e.data["to"]) is State.UNACKNOWLEDGED
        and e.data["from"] != e.data["to"]
    ]


def _one_life(own: Sequence[Entry], start_ns: int) -> list[Entry]:
    """The entries from when an alarm was raised to just before it was raised again."""
    end_ns = min((t for t in _raisings(own) if t > start_ns), default=None)
    # The finding that raised it bears source time, which is a little earlier.
    earliest_ns = start_ns - _FOUND_BEFORE_NS
    return [e for e in own if e.time_ns >= earliest_ns and (end_ns is None or e.time_ns < end_ns)]


def _raised(entry: Entry) -> bool:
    """Whether the entry tells of the condition being there rather than gone."""
    return bool(entry.data.get("active", entry.data.get("condition")))


def _acts(entries: Sequence[Entry], zone: str) -> Iterator[tuple[str, str]]:
    """What happened to the alarm in words, oldest first; newer words for the same state are left out."""
    for entry in entries:
        clock, data = clock_text(entry.time_ns, zone), entry.data
        if entry.kind is EntryKind.ACT:
            words = {"seen": "seen here", "shelve": "asked to shelve it"}.get(
                str(data["what"]), str(data["what"])
            )
            reason = f": {data['reason']}" if data.get("reason") else ""
            yield clock, f"{entry.by} ({data['role']}) {words}{reason}"
        elif entry.kind is EntryKind.REFUSED:
            yield clock, f"not done: {data.get('reason', '')}"
        elif entry.kind is EntryKind.TRANSITION and data["from"] != data["to"]:
            yield clock, _HAPPENED[State(data["to"])]
