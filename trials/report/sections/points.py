"""Operating points: one column each, never an average over two of them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from trials.figures import Figure
from trials.outcome import Point
from trials.report.content import Align, Block, Heading, Lines, Paragraph, Small, Table
from trials.report.retold import retold
from trials.report.sections.cover import ENERGIES, THROUGHPUTS
from trials.report.speech import NOTHING, marked
from trials.report.tables import absent_blocks, side_by_side, window_words
from trials.report.view import View

TITLE: Final = marked("Operating points")
_BEFORE: Final = "pressure before the screen, {}"
_AFTER: Final = "pressure after the screen, {}"
_DP: Final = "pressure difference over the screen, {}"
ROWS: Final = (
    (marked("Throughput"), THROUGHPUTS),
    (marked("Feed by the doser"), ("throughput, doser",)),
    (marked("Specific throughput of the screen"), ("specific throughput of the screen",)),
    (marked("Melt temperature, mean"), ("temperature, melt at the screw tip",)),
    (marked("Melt temperature, P95 less P5"), ("temperature, melt at the screw tip, spread",)),
    (marked("Pressure before the screen, mean"), (_BEFORE.format("mean"),)),
    (marked("Pressure before the screen, highest"), (_BEFORE.format("highest"),)),
    (marked("Pressure after the screen, mean"), (_AFTER.format("mean"),)),
    (marked("Pressure difference, mean"), (_DP.format("mean"),)),
    (marked("Pressure difference, P5"), (_DP.format("P5"),)),
    (marked("Pressure difference, P95"), (_DP.format("P95"),)),
    (marked("Cleaning interval, mean"), ("cleaning period",)),
    (marked("Cleaning interval, scatter"), ("scatter of the cleaning period",)),
    (marked("Cleaning amplitude"), ("cleaning amplitude",)),
    (marked("Recovery by a cleaning"), ("recovery",)),
    (marked("Discharged, of the feed"), ("discharge loss, gross",)),
    (marked("Melt lost with it, of the feed"), ("discharge loss, melt",)),
    (marked("Specific energy of the line"), (ENERGIES[0],)),
    (marked("Specific energy of the drive"), (ENERGIES[1],)),
    (marked("Pellet length, calculated"), ("pellet length, calculated",)),
    (marked("Pellet moisture"), ("pellet moisture",)),
)


def blocks(view: View) -> Iterator[Block]:
    """What stands in the section."""
    say, points = view.say, view.outcome.points
    if not points:
        yield Paragraph(say("There is no operating point: nothing ran steadily for long enough."))
        yield from absent_blocks(view.figures.figures[:1], say)
        return
    head = (say("Point"), say("Time"), say("Steady"), say("Lot"), say("Screen"), say("Figures are"))
    yield Table(
        head,
        tuple(_head(view, p) for p in points),
        say("Times"),
        (Align.LEFT,) * 6,
        (0.7, 3.2, 1, 1.4, 1.2, 1.3),
    )
    for point in points:
        reasons = tuple(retold(r, say) for r in point.figures.indicative)
        if reasons:
            yield Paragraph(say("{point} is indicative:", point=point.name))
            yield Lines(reasons)
    yield Heading(say("Figures"))
    yield from side_by_side(view, points, [(say(label), names) for label, names in ROWS], "")
    yield Small(
        say(
            "After ± stands the expanded uncertainty (k = 2, about 95 %); without it none is known. How many "
            "samples stand behind a figure is told in section 12."
        )
    )
    for point in points:
        yield from _by_sitting(view, point)
    lacking = _lacking(view)
    if lacking:
        yield from lacking


def _head(view: View, point: Point) -> tuple[str, ...]:
    say = view.say
    valid = say("indicative") if point.figures.indicative else say("valid")
    return (
        point.name,
        say.windows(point.windows),
        say.length(sum(w.s for w in point.windows)),
        view.lot_of(point),
        point.screen or NOTHING,
        valid,
    )


def _by_sitting(view: View, point: Point) -> Iterator[Block]:
    """The key figures of each sitting, where a point was run on several."""
    if not point.by_sitting:
        return
    say = view.say
    rows = []
    for label, names in ROWS:
        figures = [view.figure(*names, point=of) for of in point.by_sitting.values()]
        if any(f.value is not None for f in figures):
            rows.append(
                (say(label), say.unit(figures[0].unit), *(say.figure(f, with_unit=False) for f in figures))
            )
    head = (say("Figure"), say("Unit"), *(say("Sitting {n}", n=n) for n in point.by_sitting))
    align = (Align.LEFT, Align.LEFT, *(Align.RIGHT for _ in point.by_sitting))
    weights = (3.6, 1.5, *(1.7 for _ in point.by_sitting))
    yield Table(
        head, tuple(rows), say("{window}, by sitting", window=window_words(view, point)), align, weights
    )


def _lacking(view: View) -> list[Block]:
    """Which of these figures no point has."""
    lacking: list[Figure] = []
    for _, names in ROWS:
        found = [view.figure(*names, point=p.figures) for p in view.outcome.points]
        if all(f.value is None for f in found):
            lacking.append(found[0])
    return absent_blocks(lacking, view.say)
