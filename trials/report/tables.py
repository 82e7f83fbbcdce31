"""Figures as tables: each with its uncertainty, its unit, its number of samples, or why it is absent.

Pure.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from trials.figures import Figure, OperatingPoint
from trials.outcome import Point
from trials.report.content import Align, Block, Lines, Paragraph, Table
from trials.report.names import capital, name_of_figure
from trials.report.retold import retold
from trials.report.speech import NOTHING, Speech
from trials.report.view import View

POINTS = 4
"""So many operating points stand side by side on a page."""
FEW = 3
"""So many windows are named in a caption."""


def name(figure: Figure, say: Speech) -> str:
    """What it is called, with a capital."""
    return capital(name_of_figure(figure.name, say))


def not_shown(figure: Figure, say: Speech) -> str:
    """That it has no value, and why."""
    return say("not shown in this trial: {why}", why=retold(figure.absent, say))


def some(point: OperatingPoint, names: Iterable[str]) -> list[Figure]:
    """The figures of these names that there are."""
    by_name = {f.name: f for f in point.figures}
    return [by_name[n] for n in names if n in by_name]


def figure_blocks(
    view: View, figures: Sequence[Figure], caption: str = "", *, remarks: bool = True
) -> list[Block]:
    """A table of those that have a value, with what limits each; then a list of those that have none."""
    say = view.say
    rows = []
    for figure in figures:
        if figure.value is not None:
            told = " ".join(retold(r, say) for r in figure.remarks) if remarks else ""
            rows.append((name(figure, say), say.figure(figure), view.count_shown(figure), told))
    blocks: list[Block] = []
    if rows:
        head: tuple[str, ...] = (say("Figure"), say("Value"), say("n"))
        align = (Align.LEFT, Align.RIGHT, Align.RIGHT, Align.LEFT)
        weights: tuple[float, ...] = (3.4, 2.4, 0.9)
        if any(r[3] for r in rows):
            head, weights = (*head, say("What limits it")), (2.7, 2.2, 0.8, 3.6)
        whole = tuple(r[: len(head)] for r in rows)
        blocks.append(Table(head, whole, caption, align[: len(head)], weights))
    lacking = [f for f in figures if f.value is None]
    if lacking:
        blocks += absent_blocks(lacking, say)
    return blocks


def absent_blocks(figures: Iterable[Figure], say: Speech) -> list[Block]:
    """What was not shown, gathered by the reason."""
    by_reason: dict[str, list[str]] = {}
    for figure in figures:
        by_reason.setdefault(figure.absent, []).append(name_of_figure(figure.name, say))
    lines = tuple(
        say("{what}: {why}", what=capital("; ".join(names)), why=_ended(retold(why, say)))
        for why, names in by_reason.items()
    )
    return [Paragraph(say("Not shown in this trial:")), Lines(lines)] if lines else []


def _ended(clause: str) -> str:
    return clause if clause.endswith(".") else f"{clause}."


def window_words(view: View, point: Point) -> str:
    """Which time a point speaks of: each window where there are few, else from the first to the last."""
    say, windows = view.say, point.windows
    length = say.length(sum(w.s for w in windows))
    if len(windows) > FEW:
        return say(
            "{point}: {span}, {length} steady in {count} windows (section 6)",
            point=point.name,
            span=say.span(windows[0].start_ns, windows[-1].end_ns),
            length=length,
            count=len(windows),
        )
    return say(
        "{point}: {windows}, {length} steady", point=point.name, windows=say.windows(windows), length=length
    )


def side_by_side(
    view: View, points: Sequence[Point], rows: Sequence[tuple[str, Sequence[str]]], caption: str
) -> list[Block]:
    """Figures of several points, a column a point, a few points a table.

    Args:
        rows: what a row is called, and its figures: the first that has a value stands there.
    """
    say = view.say
    blocks: list[Block] = []
    for first in range(0, len(points), POINTS):
        some_points = points[first : first + POINTS]
        lines = []
        for label, names in rows:
            cells, unit = [], ""
            for point in some_points:
                try:
                    figure = view.figure(*names, point=point.figures)
                except KeyError:
                    cells.append(NOTHING)
                    continue
                unit = unit or say.unit(figure.unit)
                cells.append(say.figure(figure, with_unit=False))
            lines.append((label, unit, *cells))
        head = (say("Figure"), say("Unit"), *(p.name for p in some_points))
        align = (Align.LEFT, Align.LEFT, *(Align.RIGHT for _ in some_points))
        weights = (3.6, 1.5, *(1.7 for _ in some_points))
        blocks.append(Table(head, tuple(lines), caption, align, weights))
    return blocks
