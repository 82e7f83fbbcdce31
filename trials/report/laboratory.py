"""What the laboratory found, as tables. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from historian.sensors.uncertainty import COVERAGE
from trials.forms.measures import MEASURES
from trials.record.entries import What
from trials.report.content import Align, Block, Small, Table
from trials.report.names import capital
from trials.report.speech import NOTHING, Speech, marked
from trials.report.view import View
from trials.results import LabResult

SIDE_BY_SIDE: Final = 6
"""So many measures stand beside each other."""

_MEASURES: Final = (
    marked("bulk density"),
    marked("moisture"),
    marked("melt flow rate"),
    marked("ash"),
    marked("dirt that a screen holds back"),
    marked("melting peak"),
    marked("another polymer"),
    marked("density"),
    marked("metal"),
    marked("pellet length"),
    marked("mass of ten pellets"),
    marked("pellets with tails"),
    marked("pellets that stick together"),
    marked("fines"),
    marked("specks in 100 g of film"),
    marked("share of dirt in what was discharged"),
)


def measure_name(what: str, say: Speech) -> str:
    """What a measure is called."""
    return say(MEASURES[what].text) if what in MEASURES else what


def result_words(result: LabResult, say: Speech) -> str:
    """A result with its expanded uncertainty where replicates tell it, or as an upper bound."""
    uncertain = None if result.uncertain is None else COVERAGE * result.uncertain
    return f"{'< ' if result.less_than else ''}{say.found(result.value, uncertain, result.unit)}"


def result_table(view: View, results: Sequence[LabResult], caption: str) -> Table:
    """One row a result."""
    say = view.say
    rows = tuple(
        (
            capital(measure_name(r.what, say)) + (f" ({r.sample})" if r.sample else ""),
            result_words(r, say),
            say.count(r.n),
            conditions(r, say),
        )
        for r in results
    )
    head = (say("Measured"), say("Value"), say("n"), say("Conditions"))
    align = (Align.LEFT, Align.RIGHT, Align.RIGHT, Align.LEFT)
    return Table(head, rows, caption, align, (2.4, 1.9, 0.6, 3.1))


def conditions(result: LabResult, say: Speech) -> str:
    """Method, temperature and load as they were told, and the standard that is meant."""
    standard = MEASURES[result.what].source if result.what in MEASURES else ""
    told = [result.condition, "" if standard in result.condition else standard]
    return say.listed(c for c in told if c) or NOTHING


def sample_blocks(view: View, results: Sequence[LabResult], caption: str) -> list[Block]:
    """A row a sample, in the order in which they were taken; a column a measure, a few columns a table."""
    say = view.say
    taken = {str(e.data["name"]): e.time_ns for e in view.outcome.book.all_of(What.SAMPLE)}
    samples = sorted({r.sample for r in results}, key=lambda s: (taken.get(s, 0), s))
    measures = sorted({(r.what, r.condition) for r in results})
    by_place = {(r.sample, r.what, r.condition): r for r in results}
    blocks: list[Block] = []
    for first in range(0, len(measures), SIDE_BY_SIDE):
        some = measures[first : first + SIDE_BY_SIDE]
        rows = []
        for sample in samples:
            found = [by_place.get((sample, *m)) for m in some]
            if any(found):
                cells = (NOTHING if r is None else result_words(r, say) for r in found)
                rows.append((sample, say.clock(taken[sample]) if sample in taken else NOTHING, *cells))
        head = (say("Sample"), say("Taken"), *(capital(measure_name(what, say)) for what, _ in some))
        align = (Align.LEFT, Align.LEFT, *(Align.RIGHT for _ in some))
        blocks.append(Table(head, tuple(rows), caption, align, (0.8, 0.9, *(1.5 for _ in some))))
    each = {(r.what, r.condition): conditions(r, say) for r in results}
    told = [f"{capital(measure_name(w, say))}: {c}" for (w, _), c in sorted(each.items()) if c != NOTHING]
    if told:
        blocks.append(Small(say("Conditions: {what}.", what="; ".join(told))))
    repeated = [r for r in results if r.n > 1]
    if repeated:
        blocks.append(
            Small(
                say(
                    "Means of replicates: {what}.",
                    what=say.listed(f"{r.sample} {measure_name(r.what, say)} n = {r.n}" for r in repeated),
                )
            )
        )
    return blocks
