"""Energy and losses: what the line took for each kilogram, where it went, what was lost with the dirt."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from trials.pictures import Split, split_svg
from trials.report.content import Block, Heading, Paragraph, Picture
from trials.report.drawn import how
from trials.report.speech import marked
from trials.report.tables import figure_blocks, some, window_words
from trials.report.units import shown as unit_shown
from trials.report.view import View

TITLE: Final = marked("Energy and losses")
_UNIT: Final = "kW.h/kg"
_ENERGY: Final = (
    "specific energy, line",
    "specific energy, drive",
    "specific energy, heaters",
    "output at each screw speed",
    "energy that the melt took up",
)
_LOSSES: Final = ("discharge rate", "discharge loss, gross", "discharge loss, melt", "mass not found again")


def blocks(view: View) -> Iterator[Block]:
    """What stands in the section."""
    say = view.say
    caption = "" if view.main is None else window_words(view, view.main)
    picture = _split(view)
    if picture is not None:
        yield picture
    yield from figure_blocks(view, some(view.figures, _ENERGY), caption)
    yield Heading(say("Losses"))
    yield from figure_blocks(view, some(view.figures, _LOSSES), caption)
    yield Paragraph(say("What the losses cost is not shown in this trial: no prices were told."))


def _split(view: View) -> Picture | None:
    """Specific energy of each point: drive, heaters, the rest; parts that would make no sum are left out."""
    say = view.say
    scale = unit_shown(_UNIT, say.system).scale
    bars = []
    for point in view.outcome.points:
        line, drive, heaters = (view.figure(name, point=point.figures).value for name in _ENERGY[:3])
        if drive is None:
            continue
        parts = [(say("screw drive"), drive)]
        if heaters is not None:
            parts.append((say("heaters"), heaters))
        rest = None if line is None else line - sum(size for _, size in parts)
        if rest is not None and rest > 0:
            parts.append((say("everything else"), rest))
        shown = tuple((name, size * scale, say.digits(f"{size * scale:.3f}")) for name, size in parts)
        bars.append(Split(point.name, shown))
    if not bars:
        return None
    axis = f"{say('Specific energy')} [{say.unit(_UNIT)}]"
    return Picture(
        split_svg(bars, axis, how(view)), say("Specific energy of each operating point and its parts.")
    )
