"""Disturbances: what does not count and why, the alarms of the trial, gaps of what matters."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from historian.frame import NS
from rules.finding import Priority
from trials.bars import AlarmBar
from trials.report.content import Align, Block, Heading, Paragraph, Small, Table
from trials.report.photographs import photographs
from trials.report.retold import retold
from trials.report.speech import marked
from trials.report.tables import figure_blocks, some, window_words
from trials.report.view import View

TITLE: Final = marked("Disturbances and their effect")
MOST_ALARMS: Final = 40
_LOAD: Final = ("alarms", "most alarms in ten minutes", "time with an alarm")
_PRIORITIES: Final = {
    Priority.HIGH: marked("high"),
    Priority.MEDIUM: marked("medium"),
    Priority.LOW: marked("low"),
    Priority.JOURNAL: marked("journal"),
}


def blocks(view: View) -> Iterator[Block]:
    """What stands in the section."""
    say, outcome = view.say, view.outcome
    yield Heading(say("Time that does not count"))
    rows = tuple(
        (
            say.span(e.window.start_ns, e.window.end_ns),
            say.length(e.window.s),
            say.sentence(retold(e.why, say)),
        )
        for e in outcome.excluded
    )
    if rows:
        head = (say("Time"), say("Length"), say("Why"))
        yield Table(head, rows, align=(Align.LEFT, Align.RIGHT, Align.LEFT), weights=(2.6, 1, 3.4))
    else:
        yield Paragraph(say("No steady time was left out."))
    yield Heading(say("Alarms"))
    if outcome.judged:
        yield from _alarms(view)
    else:
        yield Paragraph(say("No rules judged this trial: whether there were alarms is not known."))
    shown = photographs(view, "finding")
    if shown:
        yield Heading(say("Findings"))
        yield from shown


def _alarms(view: View) -> Iterator[Block]:
    say, outcome = view.say, view.outcome
    bars = sorted(outcome.timeline.alarms, key=lambda b: (-b.priority, b.start_ns))
    if not bars:
        yield Paragraph(say("No alarm was raised."))
        return
    if view.main is not None:
        caption = window_words(view, view.main)
        yield from figure_blocks(view, some(view.figures, _LOAD), caption)
    shown = sorted(bars[:MOST_ALARMS], key=lambda b: b.start_ns)
    rows = tuple(_row(view, bar) for bar in shown)
    head = (say("Time"), say("Length"), say("Priority"), say("What the rule said"), say("Falls into"))
    align = (Align.LEFT, Align.RIGHT, Align.LEFT, Align.LEFT, Align.LEFT)
    span = say.span(outcome.trial.start_ns, outcome.end_ns)
    yield Table(head, rows, say("Alarms, {span}", span=span), align, (0.9, 1.1, 1, 5, 1))
    if len(bars) > MOST_ALARMS:
        yield Small(
            say.several(
                "{count} further alarm of lower priority stands in the journal.",
                "{count} further alarms of lower or the same priority stand in the journal.",
                len(bars) - MOST_ALARMS,
            )
        )
    if say.language != "en":
        yield Small(say("The sentences of the rules stand as they were written at the time."))


def _row(view: View, bar: AlarmBar) -> tuple[str, ...]:
    say, outcome = view.say, view.outcome
    end_ns = outcome.end_ns if bar.end_ns is None else bar.end_ns
    met = [p.name for p in outcome.points if any(bar.meets(w.start_ns, w.end_ns) for w in p.windows)]
    lasted = say("stands") if bar.end_ns is None else say.length(max(end_ns - bar.start_ns, 0) / NS)
    return (
        view.stamp(bar.start_ns),
        lasted,
        say(_PRIORITIES[bar.priority]),
        bar.sentence,
        say.listed(met),
    )
