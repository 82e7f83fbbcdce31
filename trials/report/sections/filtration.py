"""Filtration: the saw-tooth, what stays on the screen, which law it follows, the balance of dirt."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from trials.forms.measures import Of
from trials.report.content import Block, Heading, Paragraph
from trials.report.drawn import index, saw_tooth, troughs
from trials.report.laboratory import sample_blocks
from trials.report.photographs import photographs
from trials.report.retold import retold
from trials.report.speech import marked
from trials.report.tables import figure_blocks, some, window_words
from trials.report.view import View

TITLE: Final = marked("Filtration")
_CLEANING: Final = (
    "cleaning period",
    "scatter of the cleaning period",
    "cleaning amplitude",
    "recovery",
    "lasting rise at a cleaning",
    "discharged at a cleaning",
    "discharge rate",
    "discharge loss, gross",
    "discharge loss, melt",
)
_SCREEN: Final = (
    "specific throughput of the screen",
    "pressure index",
    "pressure difference at the reference",
    "resistance of the screen",
    "filtration load",
    "blocking power",
)
_DIRT: Final = ("opening of the dirt balance", "dirt separated")


def blocks(view: View) -> Iterator[Block]:
    """What stands in the section."""
    say, main = view.say, view.main
    for picture in (saw_tooth(view), troughs(view), index(view)):
        if picture is not None:
            yield picture
    caption = "" if main is None else window_words(view, main)
    yield Heading(say("Cleaning"))
    yield from figure_blocks(view, some(view.figures, _CLEANING), caption)
    yield Heading(say("Screen and melt"))
    words = retold(view.figures.blocking.words, say)
    yield Paragraph(say("Blocking law: {words}.", words=words))
    yield from figure_blocks(view, some(view.figures, _SCREEN), caption)
    yield Heading(say("Dirt"))
    yield from figure_blocks(view, some(view.figures, _DIRT), caption)
    discharged = [r for r in view.outcome.results if r.of is Of.DISCHARGE]
    if discharged:
        yield from sample_blocks(view, discharged, say("Results of what was discharged"))
    shown = photographs(view, "screen")
    yield Heading(say("Screen after the trial"))
    if shown:
        yield from shown
    else:
        yield Paragraph(
            say("No photograph of the screen was kept: its condition is not shown in this trial.")
        )
