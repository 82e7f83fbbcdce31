"""The rows of a ledger: one quantity each, with its gaps, its doubts and its names at the right end."""

from __future__ import annotations

import base64
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboard.palette import Palette
from dashboard.sheet import Sheet
from dashboard.views import Curve, Gap, Row
from dashboard.words import number_text

ROW, TALL_ROW = 96, 136
LABEL_PX = 13


def row_band(sheet: Sheet, row: Row) -> None:
    many = sum(not c.setpoint for c in row.curves) > 3
    height = TALL_ROW if many else ROW
    low, high = _bounds(row)
    settings = {
        "range": [low, high],
        "fixedrange": True,
        "nticks": 4,
        "gridcolor": sheet.colours.line,
        "zeroline": False,
        "tickfont": {"color": sheet.colours.quiet},
    }
    name = sheet.axis(height, f"{row.title}<br>{row.unit}", settings)
    sheet.rule(name)
    if row.gaps:
        sheet.traces.append(_hatch(row.gaps, low, high, name, sheet.colours))
        sheet.annotations += _gap_words(sheet, row.gaps, name)
    for curve in row.curves:
        sheet.traces += _traces(curve, name, sheet.colours, thin=many)
    sheet.annotations += _end_labels(row, name, low, high, height, sheet.colours)


def _bounds(row: Row) -> tuple[float, float]:
    """A little more than the curves need; a flat line stands in the middle."""
    known = [c.value[~np.isnan(c.value)] for c in row.curves]
    known = [k for k in known if len(k)]
    if not known:
        return 0.0, 1.0
    low, high = min(float(k.min()) for k in known), max(float(k.max()) for k in known)
    room = max(0.08 * (high - low), 1.0)
    return low - room, high + room


def _traces(curve: Curve, name: str, colours: Palette, *, thin: bool) -> Iterator[dict[str, Any]]:
    """Solid where the source is sure, dotted where it is not; a set-point is a step line of short dashes."""
    colour = colours.quiet if curve.setpoint else colours.kinds.get(curve.kind, colours.ink)
    width = 1 if curve.setpoint or thin else 1.5
    base = {
        "type": "scatter",
        "mode": "lines",
        "x": packed(curve.time_ms),
        "yaxis": name,
        "name": curve.label or "set-point",
        "connectgaps": False,
        "hovertemplate": f"%{{x}}<br>{curve.label or 'set-point'}: %{{y:.4~g}} {curve.unit}<extra></extra>",
    }
    shape = "hv" if curve.step else "linear"
    doubted = curve.uncertain & ~np.isnan(curve.value)
    sure = np.where(doubted, np.nan, curve.value)
    dash = "dot" if curve.setpoint else "solid"
    yield base | {"y": packed(sure), "line": {"color": colour, "width": width, "dash": dash, "shape": shape}}
    if doubted.any():
        # The neighbours belong to the dotted piece too, or it would hang in the air.
        near = doubted.copy()
        near[1:] |= doubted[:-1]
        near[:-1] |= doubted[1:]
        line = {"color": colour, "width": width, "dash": "1px,4px", "shape": shape}
        yield base | {"y": packed(np.where(near, curve.value, np.nan)), "line": line}


def packed(values: NDArray[np.float64]) -> dict[str, str]:
    """An array as the graph library reads it without a list of numbers."""
    return {"dtype": "f8", "bdata": base64.b64encode(values.astype("<f8").tobytes()).decode("ascii")}


def _hatch(gaps: Sequence[Gap], low: float, high: float, name: str, colours: Palette) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [x for g in gaps for x in (g.start_ms, g.start_ms, g.end_ms, g.end_ms, g.start_ms, None)],
        "y": [y for _ in gaps for y in (low, high, high, low, low, None)],
        "yaxis": name,
        "fill": "toself",
        "fillcolor": "rgba(0,0,0,0)",
        "fillpattern": {"shape": "/", "size": 8, "fgcolor": colours.hatch, "bgcolor": "rgba(0,0,0,0)"},
        "line": {"width": 0, "color": colours.hatch},
        "hoveron": "fills",
        "text": "<br>".join(g.text for g in gaps[:4]),
        "hoverinfo": "text",
    }


def _gap_words(sheet: Sheet, gaps: Sequence[Gap], name: str) -> Iterator[dict[str, Any]]:
    """The words inside a gap that is wide enough for them."""
    for gap in gaps:
        share = (gap.end_ms - gap.start_ms) / sheet.span_ms
        if share > 0.06:
            yield {
                "x": (gap.start_ms + gap.end_ms) / 2,
                "yref": f"{name} domain",
                "y": 0.5,
                "showarrow": False,
                "text": gap.text if share > 0.22 else "no data",
                "bgcolor": sheet.colours.paper,
                "font": {"color": sheet.colours.ink},
            }


def _end_labels(
    row: Row, name: str, low: float, high: float, height: int, colours: Palette
) -> Iterator[dict[str, Any]]:
    """Name and last value at each line's right end, moved apart where they would lie on each other."""
    ends: list[tuple[float, Curve]] = []
    for curve in row.curves:
        known = curve.value[~np.isnan(curve.value)]
        if not curve.setpoint and len(known):
            ends.append((float(known[-1]), curve))
    ends.sort(key=lambda e: e[0])
    many = len(ends) > 3
    wanted = [(value - low) / (high - low) * height for value, _ in ends]
    for place, (value, curve) in zip(spread(wanted, LABEL_PX, height), ends, strict=True):
        text = f"{curve.label}" + ("" if many else f" {number_text(value, _raw(curve.unit))}")
        yield {
            "xref": "paper",
            "x": 1,
            "xanchor": "left",
            "xshift": 8,
            "yref": f"{name} domain",
            "y": place / height,
            "yanchor": "middle",
            "showarrow": False,
            "text": text,
            "font": {"size": 12 if many else 14, "color": colours.kinds.get(curve.kind, colours.ink)},
        }


def _raw(unit: str) -> str:
    return "Cel" if unit == "°C" else unit


def spread(wanted: Sequence[float], least: float, height: float) -> list[float]:
    """Rising places at least ``least`` apart, near the wanted ones and not above ``height``.

    Example:
        >>> spread([10, 11, 50], 13, 100)
        [10, 23, 50]
    """
    placed: list[float] = []
    for want in wanted:
        placed.append(want if not placed else max(want, placed[-1] + least))
    ceiling = height
    for i in range(len(placed) - 1, -1, -1):
        placed[i] = min(placed[i], ceiling)
        ceiling = placed[i] - least
    return placed
