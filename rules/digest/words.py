"""The sentences of a digest, the same in every form that it is read in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any
from zoneinfo import ZoneInfo

from historian.units import shown_unit
from rules.digest.content import Digest, Seen
from rules.digest.hours import Worn
from rules.digest.period import SHIFT
from rules.digest.places import place_of
from rules.digest.sight import Sight
from rules.digest.times import clock, day_and_year, length, moment
from rules.digest.work import Done, Item
from rules.words import two_digits

NO_STATEMENT = (
    "This digest reports what was recorded. It says nothing about whether a machine may be opened or run: "
    "that stands in the machine's manual and is decided on the spot."
)


def title(digest: Digest) -> str:
    """What the digest is of."""
    zone, period = ZoneInfo(digest.zone), digest.period
    kind = "shift" if period.kind == SHIFT else "day"
    return f"{digest.line}, {kind} {moment(period.start_ns, zone)}"


def span(digest: Digest) -> str:
    """From when to when, and how long."""
    zone, period = ZoneInfo(digest.zone), digest.period
    begin, end = clock(period.start_ns, zone), clock(period.end_ns, zone)
    if day_and_year(period.start_ns, zone) != day_and_year(period.end_ns, zone):
        end = moment(period.end_ns, zone)
    kind = "Shift" if period.kind == SHIFT else "Day"
    return f"{kind} of {day_and_year(period.start_ns, zone)}, {begin} to {end}, {length(period.s)}"


def head_line(digest: Digest) -> str:
    """The digest in one sentence."""
    count = len(digest.work) + len(digest.further)
    if count:
        soonest = digest.work[0].deadline.words
        return (
            f"{count} part{'s' if count > 1 else ''} need{'' if count > 1 else 's'} hands, first: {soonest}"
        )
    if not digest.is_quiet:
        return "nothing on the work list"
    return "not recorded" if is_unrecorded(digest) else "nothing was found"


def is_unrecorded(digest: Digest) -> bool:
    """Whether nothing at all was recorded in the period."""
    return digest.sight.unrecorded_s >= digest.period.s


def quiet(digest: Digest) -> str:
    """What is said when nothing was found: that the digest is alive, and how far it could see."""
    if is_unrecorded(digest):
        return "Nothing was recorded in this time, so nothing could be found. How the line did is not known."
    said = f"Nothing was found by the {digest.sight.judged} rules at work."
    if digest.sight.unseen or digest.sight.unrecorded_s or digest.sight.not_judged:
        return f"{said} What they could not judge stands below: it is not known, not good."
    return f"{said} None of them told of a time in which it could not judge."


def since(item: Item, zone: ZoneInfo) -> str:
    """Since when, how often, and whether it stands."""
    times = f", {item.times} times" if item.times > 1 else ""
    stands = "still found at the end" if item.stands else "not found at the end"
    return f"since {moment(item.since_ns, zone)}{times}, {stands}"


def again(item: Item, zone: ZoneInfo) -> str:
    """That it came back, or never ended, after a repair; empty when there was none."""
    if item.after is None:
        return ""
    when, text = moment(item.after.time_ns, zone), f" ({item.after.text})" if item.after.text else ""
    if item.came_back:
        return f"Came back after repair of {when}{text}."
    return f"Still found after repair of {when}{text}."


def done(one: Done, zone: ZoneInfo) -> str:
    """Who did what when, and whether the rules still find it."""
    repair = one.repair
    who = f" by {repair.by}" if repair.by else ""
    said = f"{place_of(repair.part)}: done{who}, {moment(repair.time_ns, zone)}: {repair.text}"
    return f"{said}. Its finding has not ended yet" if one.stands else said


def when(row: Seen, zone: ZoneInfo) -> str:
    """First and last time, and how often."""
    last = "still found at the end" if row.last_ns is None else f"last {moment(row.last_ns, zone)}"
    return f"first {moment(row.first_ns, zone)}, {last}, {row.times} time{'s' if row.times > 1 else ''}"


def consequence(row: Seen) -> str:
    """Of which alarm it is a consequence; empty when it is none."""
    return "" if row.root is None else f"A consequence of {row.root[0]}, {place_of(row.root[1])}."


def figures(evidence: Mapping[str, Any]) -> str:
    """The figures that convinced the rule."""
    shown = [
        f"{name} {_number(pair[0])} {shown_unit(str(pair[1]))}".rstrip().removesuffix(" 1")
        for name, pair in (evidence.get("figures") or {}).items()
        if pair[0] is not None
    ]
    return "; ".join(shown)


def worn(one: Worn, zone: ZoneInfo) -> str:
    """How long a part has run, or that it is not known."""
    if one.hours is None:
        said = (
            "not known" if one.since_ns is None else f"hours not known, changed {moment(one.since_ns, zone)}"
        )
    else:
        hours = two_digits(one.hours) if one.hours < 10 else f"{one.hours:.0f}"
        said = f"{'0' if one.hours == 0 else hours} h"
        if one.since_ns is not None:
            said += f" since {moment(one.since_ns, zone)}"
    return f"{said}, {one.more}" if one.more else said


def unseen(sight: Sight) -> list[str]:
    """What could not be judged and why: the rules with one reason together, the longest first."""
    lines = []
    if sight.unrecorded_s:
        lines.append(f"Nothing was recorded for {length(sight.unrecorded_s)}: no rule could judge.")
    together: dict[str, dict[str, list[str]]] = {}
    for one in sight.unseen:
        about = f" ({_places(one.subjects)})" if one.subjects else ""
        together.setdefault(one.why, {}).setdefault(length(one.s), []).append(f"{one.rule}{about}")
    for why, by_length in together.items():
        heads = [time if n else f"{time}, {why}" for n, time in enumerate(by_length)]
        told = [f"{head}: {', '.join(rules)}" for head, rules in zip(heads, by_length.values(), strict=True)]
        lines.append("; ".join(told))
    off: dict[str, list[str]] = {}
    for rule, why in sight.not_judged.items():
        off.setdefault(why, []).append(rule)
    lines += [f"not judged at all, {why}: {', '.join(rules)}" for why, rules in off.items()]
    return lines or ["No rule told of such a time; spells under two minutes are not told."]


def _places(subjects: Iterable[str]) -> str:
    every = [place_of(s) for s in subjects]
    return ", ".join(every) if len(every) <= 3 else f"{', '.join(every[:2])} and {len(every) - 2} more"


def _number(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 1000 else f"{value:.3g}"
