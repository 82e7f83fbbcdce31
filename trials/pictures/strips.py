"""A time table: strips with pieces, one strip below the other."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from trials.pictures.drawn import How, Span, Strip
from trials.pictures.look import PALE, days, look, sheet, svg_of, time_axis

STRIP_IN: Final = 0.235
_LETTER: Final = 0.0088
"""Share of the picture's width that a letter takes."""


def strips_svg(strips: Sequence[Strip], shown_ns: tuple[int, int], how: How) -> bytes:
    """The drawing.

    Args:
        strips: from top to bottom.
        shown_ns: start and end.
    """
    with look():
        height = 0.34 + STRIP_IN * len(strips)
        figure = sheet(height)
        axis: Any = figure.subplots()
        figure.subplots_adjust(left=0.185, right=0.97, top=1 - 0.03 / height, bottom=0.26 / height)
        for number, strip in enumerate(strips):
            for span in strip.spans:
                _span(axis, span, strip, len(strips) - number - 1, shown_ns)
        axis.set_ylim(-0.6, len(strips) - 0.4)
        axis.set_yticks(range(len(strips)), [s.label for s in reversed(strips)])
        axis.tick_params(axis="y", length=0, labelsize=7.5)
        axis.spines["left"].set_visible(False)
        time_axis(axis, *shown_ns, how)
        return svg_of(figure)


def _span(axis: Any, span: Span, strip: Strip, y: int, shown_ns: tuple[int, int]) -> None:
    start, end = (days(min(max(t, shown_ns[0]), shown_ns[1])) for t in (span.start_ns, span.end_ns))
    shade = strip.shades.get(span.kind, PALE)
    if span.end_ns <= span.start_ns:
        axis.vlines(start, y - 0.32, y + 0.32, color=strip.shades.get(span.kind, "black"), linewidth=0.7)
        return
    axis.barh(y, end - start, left=start, height=0.74, color=shade, edgecolor="white", linewidth=0.5)
    share = (end - start) / (days(shown_ns[1]) - days(shown_ns[0]))
    if span.label and share > _LETTER * (len(span.label) + 1):
        ink = "white" if _dark(shade) else "black"
        axis.text((start + end) / 2, y, span.label, ha="center", va="center", fontsize=6.5, color=ink)


def _dark(shade: str) -> bool:
    """Whether white letters read better on it: relative luminance, WCAG 2.2, roughly."""
    red, green, blue = (int(shade[n : n + 2], 16) / 255 for n in (1, 3, 5))
    luminance: float = 0.2126 * red**2.2 + 0.7152 * green**2.2 + 0.0722 * blue**2.2
    return luminance < 0.25
