"""Pellets and product quality: what the laboratory found, before and after, and which bags are in doubt."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from statistics import fmean
from typing import Final

from trials.forms.measures import Of
from trials.report.content import Align, Block, Heading, Paragraph, Small, Table
from trials.report.laboratory import measure_name, result_words, sample_blocks
from trials.report.names import capital
from trials.report.photographs import photographs
from trials.report.retold import retold
from trials.report.speech import NOTHING, Speech, marked
from trials.report.tables import figure_blocks, some, window_words
from trials.report.view import View
from trials.results import LabResult

TITLE: Final = marked("Pellets and product quality")
_FIGURES: Final = ("pellet length, calculated", "pellet mass, calculated", "pellet moisture")
_USES: Final = {"good": marked("good"), "reject": marked("reject"), "held back": marked("held back")}


def blocks(view: View) -> Iterator[Block]:
    """What stands in the section."""
    say = view.say
    caption = "" if view.main is None else window_words(view, view.main)
    yield from figure_blocks(view, some(view.figures, _FIGURES), caption)
    yield Heading(say("Laboratory"))
    found = [r for r in view.outcome.results if r.of is Of.PELLETS]
    if found:
        yield from sample_blocks(view, found, say("Results of the pellets"))
    else:
        yield Paragraph(say("No result of a pellet sample was written down: not shown in this trial."))
    yield from _before_and_after(view)
    yield from photographs(view, "pellets")
    yield from _bags(view)


def _before_and_after(view: View) -> Iterator[Block]:
    """Feed beside pellets, for what was measured of both under the same conditions."""
    say, results = view.say, view.outcome.results
    rows = []
    for key in sorted({(r.what, r.condition) for r in results}):
        of_key = [r for r in results if (r.what, r.condition) == key]
        before, after = ([r for r in of_key if r.of is of] for of in (Of.FEED, Of.PELLETS))
        if not before or not after:
            continue
        means = [_mean(some) for some in (before, after)]
        change = NOTHING
        if means[0] and means[1] is not None:
            change = say.number(100 * (means[1] / means[0] - 1), "%", digits=2)
        rows.append(
            (
                capital(measure_name(key[0], say)),
                key[1] or NOTHING,
                _range(before, say),
                _range(after, say),
                change,
            )
        )
    if rows:
        head = (say("Measured"), say("Conditions"), say("Feed"), say("Pellets"), say("Change of the mean"))
        align = (Align.LEFT, Align.LEFT, Align.RIGHT, Align.RIGHT, Align.RIGHT)
        yield Table(head, tuple(rows), say("Before and after"), align, (1.5, 2, 2, 2.2, 1.1))


def _mean(results: Sequence[LabResult]) -> float | None:
    """Of several; None where one of them is an upper bound only."""
    return None if any(r.less_than for r in results) else fmean(r.value for r in results)


def _range(results: Sequence[LabResult], say: Speech) -> str:
    """One result as it is, several from the least to the most, and how many."""
    if len(results) == 1:
        return result_words(results[0], say)
    least, most = (pick(results, key=lambda r: r.value) for pick in (min, max))
    return say(
        "{least} … {most} (n = {count})",
        least=result_words(least, say),
        most=result_words(most, say),
        count=len(results),
    )


def _bags(view: View) -> Iterator[Block]:
    say, outcome = view.say, view.outcome
    if not outcome.bags:
        return
    yield Heading(say("Bags"))
    doubts: dict[str, list[str]] = {}
    for suspect in outcome.suspects:
        why = say(
            "{why} ({share} of its time)",
            why=retold(suspect.why, say),
            share=say.number(100 * suspect.share, "%", digits=2),
        )
        doubts.setdefault(suspect.bag.name, []).append(why)
    rows = tuple(
        (
            bag.name,
            f"{say.clock(bag.from_ns)}–{say.clock(bag.to_ns)}",
            NOTHING if bag.net_kg is None else say.told(bag.net_kg, "kg"),
            say(_USES.get(bag.use, bag.use)),
            "; ".join(doubts.get(bag.name, [])),
        )
        for bag in outcome.bags
    )
    head = (say("Bag"), say("Filled"), say("Net"), say("Use"), say("In doubt, because"))
    align = (Align.LEFT, Align.LEFT, Align.RIGHT, Align.LEFT, Align.LEFT)
    day = say.span(outcome.bags[0].from_ns, outcome.bags[-1].to_ns)
    yield Table(head, rows, say("Bags, {span}", span=day), align, (1, 1.4, 1, 1, 3.6))
    yield Small(
        say("Whether a bag is used is decided by people; the table says only which bags are in doubt.")
    )
