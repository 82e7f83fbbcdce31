"""Settings: what was set at each operating point, and what was there on the mean."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from historian.catalogue import meaning_of
from trials.figures.weighting import mean
from trials.outcome import Point
from trials.report.content import Align, Block, Paragraph, Small, Table
from trials.report.names import capital, name_of_path
from trials.report.speech import NOTHING, marked
from trials.report.tables import window_words
from trials.report.view import View

TITLE: Final = marked("Settings")
_SIDE_BY_SIDE: Final = 3
_FURTHER: Final = ("extruder.drive.torque.pv", "extruder.vent.1.pressure.pv", "extruder.vent.2.pressure.pv")
"""Not set, but asked for beside what is."""


def blocks(view: View) -> Iterator[Block]:
    """What stands in the section."""
    say, points = view.say, view.outcome.points
    if not points:
        yield Paragraph(say("Nothing ran steadily, so that no settings belong to an operating point."))
        return
    paths = sorted({p for point in points for p in point.settings}, key=_order)
    further = [p for p in _FURTHER if p in view.outcome.traces]
    for first in range(0, len(points), _SIDE_BY_SIDE):
        some = points[first : first + _SIDE_BY_SIDE]
        head = [say("Setting"), say("Unit")]
        for point in some:
            head += [say("{point} set", point=point.name), say("{point} mean", point=point.name)]
        rows = [_row(view, path, some) for path in (*paths, *further)]
        align = (Align.LEFT, Align.LEFT, *(Align.RIGHT for _ in range(2 * len(some))))
        weights = (3.4, 1.1, *(1.15 for _ in range(2 * len(some))))
        yield Table(
            tuple(head), tuple(rows), say("Set, and mean by time of what was measured"), align, weights
        )
    yield Small(" ".join(say.sentence(window_words(view, p)) for p in points))


def _order(path: str) -> tuple[int, list[str | int]]:
    """As the melt flows: feed, extruder, filter, die, knives, water."""
    machines = ("doser", "extruder", "pump", "filter", "die", "pelletizer", "water")
    parts: list[str | int] = [p.zfill(3) if p.isdigit() else p for p in path.split(".")]
    return machines.index(str(parts[0])) if parts[0] in machines else len(machines), parts


def _row(view: View, path: str, points: Sequence[Point]) -> tuple[str, ...]:
    say = view.say
    meaning = meaning_of(path)
    tag = view.outcome.tags.get(path)
    unit = tag.unit if tag is not None else meaning.unit if meaning is not None else "1"
    measured = f"{path.removesuffix('.sp')}.pv" if path.endswith(".sp") else path
    cells = []
    for point in points:
        value = point.settings.get(path)
        cells.append(NOTHING if value is None else _bare(say.told(value, unit), say.unit(unit)))
        found = mean(view.outcome.traces, measured, point.windows)
        cells.append(_bare(say.number(found.value, unit), say.unit(unit)) if found.known else NOTHING)
    name = capital(name_of_path(path, say))
    return (name, say.unit(unit), *cells)


def _bare(text: str, unit: str) -> str:
    """A value without its unit, which stands in a column of its own."""
    return text.removesuffix(unit).rstrip() if unit else text
