"""Single values against time or against a quantity, in rows that share their x axis."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from trials.pictures.drawn import Dots, How
from trials.pictures.look import INK, SIGNS, days, look, nothing, number_axis, sheet, svg_of, time_axis

ROW_IN: Final = 1.3


def scatter_svg(
    rows: Sequence[tuple[str, Dots]],
    how: How,
    *,
    shown_ns: tuple[int, int] | None = None,
    x_axis: str = "",
) -> bytes:
    """The drawing.

    Args:
        rows: name of the y axis and its dots, from top to bottom.
        shown_ns: start and end where x is time; None: x is a quantity.
        x_axis: name of the x axis.
    """
    with look():
        foot = 0.3 if shown_ns else 0.5
        height = foot + 0.27 + ROW_IN * len(rows)
        figure = sheet(height)
        axes: Any = figure.subplots(len(rows), 1, sharex=True, squeeze=False)[:, 0]
        figure.subplots_adjust(
            left=0.085, right=0.97, top=1 - 0.27 / height, bottom=foot / height, hspace=0.16
        )
        groups = list(dict.fromkeys(g for _, dots in rows for g in dots.group))
        for axis, (name, dots) in zip(axes, rows, strict=True):
            _row(axis, dots, groups, how, in_time=shown_ns is not None)
            axis.set_ylabel(name)
        if groups:
            axes[0].legend(
                loc="lower right",
                bbox_to_anchor=(1, 0.97),
                ncols=len(groups),
                frameon=False,
                fontsize=7,
                handletextpad=0.1,
                columnspacing=1.0,
                borderaxespad=0,
            )
        if shown_ns is not None:
            time_axis(axes[-1], *shown_ns, how)
        else:
            number_axis(axes[-1].xaxis, how, most=8)
        if x_axis:
            axes[-1].set_xlabel(x_axis)
        figure.align_ylabels(list(axes))
        return svg_of(figure)


def _row(axis: Any, dots: Dots, groups: Sequence[str], how: How, *, in_time: bool) -> None:
    known = np.isfinite(dots.y)
    if not known.any():
        nothing(axis, how)
        return
    x = days(dots.x) if in_time else dots.x
    for number, group in enumerate(groups or [""]):
        of_it = known & np.array(
            [g == group for g in dots.group] if dots.group else np.ones(len(known), bool)
        )
        axis.plot(
            x[of_it],
            dots.y[of_it],
            linestyle="",
            marker=SIGNS[number % len(SIGNS)],
            markersize=3,
            markeredgewidth=0,
            color=INK[number % len(INK)],
            label=group,
        )
    axis.margins(x=0.02, y=0.12)
    number_axis(axis.yaxis, how, most=4)
    axis.grid(axis="y", linewidth=0.3, color="#d5d5d5")
    axis.set_axisbelow(True)
