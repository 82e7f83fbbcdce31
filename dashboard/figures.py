"""Pictures as plain dictionaries: what the screen did, and the frame that every picture shares."""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan
from typing import Any

from dashboard.palette import Palette
from dashboard.views import Cleaning
from dashboard.words import clock_text, number_text

Figure = dict[str, Any]

FONT = '"Ledger Sans", system-ui, "DejaVu Sans", sans-serif'


def frame(colours: Palette, *, size: int = 14) -> dict[str, Any]:
    """The layout that every picture starts from."""
    return {
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FONT, "size": size, "color": colours.ink},
        "showlegend": False,
        "hoverlabel": {
            "bgcolor": colours.paper,
            "bordercolor": colours.ink,
            "font": {"family": FONT, "size": 14, "color": colours.ink},
            "align": "left",
        },
        "modebar": {"color": colours.quiet, "activecolor": colours.ink, "bgcolor": "rgba(0,0,0,0)"},
    }


def cleanings_figure(
    cleanings: Sequence[Cleaning], trigger_bar: float | None, zone: str, colours: Palette
) -> Figure:
    """The last cleanings: pressure difference before and after each, and what was left as a line."""
    places = list(range(len(cleanings)))
    before = [_or_none(c.before_bar) for c in cleanings]
    after = [_or_none(c.after_bar) for c in cleanings]
    clocks = [clock_text(c.start_ns, zone) for c in cleanings]
    hover = [
        f"{clock}: {number_text(c.before_bar, 'bar')} bar before, {number_text(c.after_bar, 'bar')} bar left"
        for clock, c in zip(clocks, cleanings, strict=True)
    ]
    known = [v for v in (*before, *after) if v is not None]
    top = max([*known, trigger_bar or 0.0, 10.0]) * 1.2
    return {
        "data": [
            _bar(places, before, hover, "rgba(0,0,0,0)", colours.quiet, 0.72),
            _bar(places, after, hover, colours.shade, colours.quiet, 0.72),
            _left_after(places, after, colours),
        ],
        "layout": {
            **frame(colours),
            "barmode": "overlay",
            "margin": {"l": 40, "r": 96, "t": 8, "b": 32},
            "xaxis": {
                "tickvals": places,
                "ticktext": _spaced(clocks),
                "tickangle": 0,
                "showgrid": False,
                "zeroline": False,
                "fixedrange": True,
                "range": [-0.6, max(len(places), 6) - 0.4],
                "linecolor": colours.ink,
                "showline": True,
            },
            "yaxis": {
                "range": [0, top],
                "nticks": 5,
                "gridcolor": colours.line,
                "zeroline": False,
                "fixedrange": True,
                "ticksuffix": "",
            },
            "shapes": [] if trigger_bar is None else [_level(trigger_bar, colours)],
            "annotations": _labels(places, before, after, trigger_bar, colours),
        },
    }


def _or_none(value: float) -> float | None:
    return None if isnan(value) else round(value, 2)


def _spaced(clocks: Sequence[str]) -> list[str]:
    """The clock under every other bar when there are many, always under the newest."""
    every = 2 if len(clocks) > 7 else 1
    last = len(clocks) - 1
    return [c[:5] if (last - i) % every == 0 else "" for i, c in enumerate(clocks)]


def _bar(
    x: list[int], y: list[float | None], hover: list[str], fill: str, edge: str, width: float
) -> dict[str, Any]:
    return {
        "type": "bar",
        "x": x,
        "y": y,
        "width": width,
        "marker": {"color": fill, "line": {"color": edge, "width": 2}},
        "hovertext": hover,
        "hoverinfo": "text",
    }


def _left_after(x: list[int], y: list[float | None], colours: Palette) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "x": x,
        "y": y,
        "line": {"color": colours.ink, "width": 3},
        "marker": {"color": colours.ink, "size": 8},
        "hoverinfo": "skip",
    }


def _level(bar: float, colours: Palette) -> dict[str, Any]:
    return {
        "type": "line",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "y0": bar,
        "y1": bar,
        "line": {"color": colours.ink, "width": 1, "dash": "dash"},
    }


def _labels(
    places: list[int],
    before: list[float | None],
    after: list[float | None],
    trigger_bar: float | None,
    colours: Palette,
) -> list[dict[str, Any]]:
    """Words at the right end instead of a legend."""
    base = {
        "xref": "paper",
        "x": 1,
        "xanchor": "left",
        "xshift": 8,
        "showarrow": False,
        "align": "left",
        "font": {"size": 14, "color": colours.ink},
    }
    labels = []
    if trigger_bar is not None:
        labels.append({**base, "y": trigger_bar, "text": f"trigger<br>{number_text(trigger_bar, 'bar')} bar"})
    if places and after[-1] is not None:
        labels.append({**base, "y": after[-1], "text": f"left after<br>{number_text(after[-1], 'bar')} bar"})
    if places and before[-1] is not None:
        text = {**base, "xref": "x", "x": places[-1], "xanchor": "center", "xshift": 0, "yanchor": "bottom"}
        labels.append({**text, "y": before[-1], "text": number_text(before[-1], "bar")})
    return labels
