"""Course of the trial: phases, overview, what happened when."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from historian.frame import NS
from trials.phases import KeptPhase
from trials.record.entries import Entry, What
from trials.report.content import Align, Block, Heading, Small, Table
from trials.report.drawn import overview, time_table
from trials.report.names import capital, name_of_path, name_of_phase
from trials.report.speech import NOTHING, marked
from trials.report.view import View
from trials.settings import Setting

TITLE: Final = marked("Course of the trial")
SHORT_S: Final = 120.0
MOST_EVENTS: Final = 120


def blocks(view: View) -> Iterator[Block]:
    """What stands in the section."""
    say, outcome = view.say, view.outcome
    yield time_table(view)
    yield overview(view)
    long = [k for k in view.phases if k.phase.end_ns - k.phase.start_ns >= SHORT_S * NS]
    rows = tuple(
        (
            view.stamp(k.phase.start_ns),
            view.stamp(k.phase.end_ns),
            say.length((k.phase.end_ns - k.phase.start_ns) / NS),
            _phase(k, view),
        )
        for k in long
    )
    if rows:
        head = (say("From"), say("Until"), say("Length"), say("Phase"))
        caption = say(
            "Phases of two minutes and more, {span}", span=say.span(outcome.trial.start_ns, outcome.end_ns)
        )
        yield Table(head, rows, caption, (Align.LEFT, Align.LEFT, Align.RIGHT, Align.LEFT), (1, 1, 1.3, 5))
        yield Small(say("Where a phase begins and ends is told by the program from the signals."))
    if outcome.found_otherwise:
        yield Small(
            say("Since the phases were cut by hand, some are found otherwise; the cut by hand counts.")
        )
    events = sorted(_events(view))
    if events:
        yield Heading(say("What happened"))
        shown = tuple((view.stamp(t), what) for t, what in events[:MOST_EVENTS])
        yield Table((say("Time"), say("What")), shown, weights=(0.8, 6))
    if len(events) > MOST_EVENTS:
        yield Small(
            say.several(
                "{count} further entry stands in the trial's record.",
                "{count} further entries stand in the trial's record.",
                len(events) - MOST_EVENTS,
            )
        )


def _phase(kept: KeptPhase, view: View) -> str:
    name = capital(name_of_phase(kept.phase.name, view.say))
    return view.say("{phase}, set by hand", phase=name) if kept.by_hand else name


def _events(view: View) -> Iterator[tuple[int, str]]:
    outcome = view.outcome
    for setting in outcome.settings:
        yield setting.time_ns, _set(setting, view)
    for entry in outcome.book.standing:
        text = _told(entry, view)
        if text and outcome.trial.start_ns <= entry.time_ns <= outcome.end_ns:
            yield entry.time_ns, text
    for mark in outcome.timeline.marks:
        if mark.kind != "finding":
            yield mark.time_ns, mark.text


def _set(setting: Setting, view: View) -> str:
    """What was set otherwise, in the reader's units where a tag tells them, and why."""
    say = view.say
    tag = view.outcome.tags.get(setting.what)
    old, new = (
        view.told(text, tag.unit) if tag is not None and text else text or NOTHING
        for text in (setting.before, setting.after)
    )
    change = say("{what}: {old} → {new}", what=capital(name_of_path(setting.what, say)), old=old, new=new)
    if not setting.found:
        change = say("{change}, by hand", change=change)
    return say("{change} ({why})", change=change, why=setting.why) if setting.why else change


def _told(entry: Entry, view: View) -> str:
    """What happened, where an entry tells of something that did; else empty."""
    say, data = view.say, entry.data
    match entry.what:
        case What.SCREEN:
            fineness = view.told(data["fineness"], "um")
            return say("Screen {serial} of {fineness} mounted", serial=data["serial"], fineness=fineness)
        case What.LOT:
            if data.get("bale") is not None:
                return say("Lot {lot}, bale {bale} is fed", lot=data["lot"], bale=data["bale"])
            return say("Lot {lot} is fed", lot=data["lot"])
        case What.SAMPLE:
            return say("Sample {name} taken", name=data["name"])
        case What.BAG:
            return say("Bag {name} full", name=data["name"])
        case What.WEIGHING:
            gross, tare = view.read(data["gross"], "kg"), view.read(data["tare"], "kg")
            if gross is None or tare is None:
                return ""
            return say("Discharged matter weighed: {net} net", net=say.number(gross - tare, "kg"))
        case What.NOTE:
            return say("Note: {text}", text=data["text"])
        case What.ZERO_CHECK:
            return say("Pressures read in a confirmed zero state")
    return ""
