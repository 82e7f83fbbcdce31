"""What a quantity is made of: one bar a case, its parts beside each other with their values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from trials.pictures.drawn import How
from trials.pictures.look import look, number_axis, sheet, svg_of

_SHADES: Final = ("#0072B2", "#E69F00", "#c4c4c4", "#009E73")
"""Two inks of Okabe and Ito and a grey between them: told apart in grey print as well."""


@dataclass(frozen=True, slots=True)
class Split:
    """One bar.

    Attributes:
        label: to the left.
        parts: name, size, and the size in words; all of one unit.
    """

    label: str
    parts: tuple[tuple[str, float, str], ...]


def split_svg(bars: Sequence[Split], axis_name: str, how: How) -> bytes:
    """The drawing; parts of one name have one shade."""
    names = list(dict.fromkeys(name for bar in bars for name, _, _ in bar.parts))
    with look():
        height = 0.82 + 0.33 * len(bars)
        figure = sheet(height)
        axis: Any = figure.subplots()
        figure.subplots_adjust(left=0.085, right=0.985, top=1 - 0.27 / height, bottom=0.48 / height)
        whole = max((sum(size for _, size, _ in bar.parts) for bar in bars), default=1.0) or 1.0
        for number, bar in enumerate(reversed(bars)):
            left = 0.0
            for name, size, words in bar.parts:
                shade = _SHADES[names.index(name) % len(_SHADES)]
                axis.barh(number, size, left=left, height=0.66, color=shade, edgecolor="white")
                if size / whole > 0.012 * len(words):
                    ink = "white" if shade == _SHADES[0] else "black"
                    axis.text(left + size / 2, number, words, ha="center", va="center", fontsize=7, color=ink)
                left += size
        for name in names:
            axis.barh(0, 0, color=_SHADES[names.index(name) % len(_SHADES)], label=name)
        if names:
            axis.legend(
                loc="lower right",
                bbox_to_anchor=(1, 0.99),
                ncols=len(names),
                frameon=False,
                fontsize=7,
                borderaxespad=0,
                handlelength=1.0,
            )
        axis.set_yticks(range(len(bars)), [b.label for b in reversed(bars)])
        axis.tick_params(axis="y", length=0)
        axis.set_ylim(-0.6, len(bars) - 0.4)
        axis.set_xlim(0, whole * 1.02)
        number_axis(axis.xaxis, how, most=7)
        axis.set_xlabel(axis_name)
        return svg_of(figure)
