"""Signals over one time axis, row below row: gaps stay gaps, peaks stay, each curve bears its name."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from trials.pictures.drawn import Band, Curve, Dots, How, Row
from trials.pictures.look import GREY, INK, PALE, days, look, nothing, number_axis, sheet, svg_of, time_axis
from trials.pictures.thin import thinned

ROW_IN: Final = 1.02
_RIGHT: Final = 0.865
_LEFT: Final = 0.085
_LETTER: Final = 0.014
"""Share of the picture's width that a letter takes."""
_NEIGHBOURS: Final = 0.04
"""Share of the picture's width below which two bands of one name are one."""
_APART: Final = 0.16
"""Least distance of two names beside curves, as a share of a row's height."""


def stacked_svg(
    rows: Sequence[Row],
    shown_ns: tuple[int, int],
    how: How,
    bands: Sequence[Band] = (),
    row_in: float = ROW_IN,
) -> bytes:
    """The drawing.

    Args:
        rows: from top to bottom, at least one.
        shown_ns: start and end.
        bands: stretches of time to be shaded.
        row_in: height of a row, inches.
    """
    with look():
        height = 0.52 + row_in * len(rows)
        named = any(curve.label for row in rows for curve in row.curves)
        figure = sheet(height)
        axes: Any = figure.subplots(len(rows), 1, sharex=True, squeeze=False)[:, 0]
        figure.subplots_adjust(
            left=_LEFT,
            right=_RIGHT if named else 0.985,
            top=1 - 0.19 / height,
            bottom=0.28 / height,
            hspace=0.2,
        )
        for axis, row in zip(axes, rows, strict=True):
            for band in bands:
                axis.axvspan(days(band.start_ns), days(band.end_ns), color=PALE, linewidth=0, zorder=0)
            _row(axis, row, shown_ns, how)
        for middle_ns, label in _labels(bands, shown_ns):
            axes[0].annotate(
                label, (days(middle_ns), 1.02), xycoords=("data", "axes fraction"), ha="center", va="bottom"
            )
        time_axis(axes[-1], *shown_ns, how)
        figure.align_ylabels(list(axes))
        return svg_of(figure)


def _labels(bands: Sequence[Band], shown_ns: tuple[int, int]) -> list[tuple[float, str]]:
    """Where the bands' names stand: once for neighbours of one name, and none on top of another."""
    runs: list[tuple[int, int, str]] = []
    near_ns = _NEIGHBOURS * (shown_ns[1] - shown_ns[0])
    for band in sorted(bands, key=lambda b: b.start_ns):
        if runs and runs[-1][2] == band.label and band.start_ns - runs[-1][1] < near_ns:
            runs[-1] = (runs[-1][0], band.end_ns, band.label)
        elif band.label:
            runs.append((band.start_ns, band.end_ns, band.label))
    placed: list[tuple[float, str]] = []
    room_ns = _LETTER * (shown_ns[1] - shown_ns[0])
    for start_ns, end_ns, label in runs:
        middle_ns = (start_ns + end_ns) / 2
        if not placed or middle_ns - placed[-1][0] > room_ns * (len(label) + len(placed[-1][1])) / 2:
            placed.append((middle_ns, label))
    return placed


def _row(axis: Any, row: Row, shown_ns: tuple[int, int], how: How) -> None:
    names: list[tuple[float, str, str]] = []
    for curve, ink in zip(row.curves, INK, strict=False):
        last = _curve(axis, curve, ink, shown_ns)
        if last is not None and curve.label:
            names.append((last, curve.label, ink))
    for dots, ink in zip(row.dots, INK[len(row.curves) :], strict=False):
        _dots(axis, dots, ink)
    axis.set_ylabel(row.axis)
    if not names and not row.dots:
        nothing(axis, how)
        return
    axis.margins(y=0.1)
    number_axis(axis.yaxis, how, most=4)
    axis.grid(axis="y", linewidth=0.3, color="#d5d5d5")
    axis.set_axisbelow(True)
    _names(axis, names)
    if row.ticks_ns:
        at = np.array([days(t) for t in row.ticks_ns if shown_ns[0] <= t < shown_ns[1]])
        axis.plot(
            at,
            np.full(len(at), 0.035),
            linestyle="",
            marker="|",
            markersize=4.5,
            markeredgewidth=0.6,
            color="black",
            transform=axis.get_xaxis_transform(),
        )


def _curve(axis: Any, curve: Curve, ink: str, shown_ns: tuple[int, int]) -> float | None:
    """Draws it; gives where its name may stand, None where there is nothing of it."""
    time_ns, value = thinned(curve.time_ns, curve.value, *shown_ns, curve.hold_s)
    if len(value) == 0:
        return None
    style = "steps-post" if curve.step else "default"
    axis.plot(days(time_ns), value, color=ink, linewidth=0.75, drawstyle=style, solid_joinstyle="round")
    # Where it is for most of a running time: at the end all signals of a stopped line are one.
    return float(np.percentile(value[~np.isnan(value)], 75))


def _dots(axis: Any, dots: Dots, ink: str) -> None:
    axis.plot(days(dots.x), dots.y, linestyle="", marker="o", markersize=3, color=ink, label=dots.label)


def _names(axis: Any, names: Sequence[tuple[float, str, str]]) -> None:
    """Names beside the ends of the curves, moved apart where they would lie on each other."""
    low, high = axis.get_ylim()
    placed = sorted(((y - low) / (high - low), text, ink) for y, text, ink in names)
    at: list[float] = []
    for share, _, _ in placed:
        at.append(max(share, at[-1] + _APART) if at else share)
    over = max(at[-1] - 0.95, 0.0) if at else 0.0
    for y, (_, text, ink) in zip(at, placed, strict=True):
        axis.annotate(
            text,
            (1.008, min(max(y - over, 0.05), 0.97)),
            xycoords="axes fraction",
            color=ink if ink != GREY else "black",
            va="center",
            fontsize=6.8,
            annotation_clip=False,
        )
