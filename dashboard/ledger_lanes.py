"""The lanes of a ledger: phases, settings, alarms, cleanings, notes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dashboard.sheet import Sheet
from dashboard.views import Band, Tick

LANE, ALARM_LANE, MOST_ALARM_LANES = 32, 20, 8
GRADE_GLYPH = ("·", "–", "=", "≡")


def _lane_axis(low: float = 0.0, high: float = 1.0) -> dict[str, Any]:
    return {
        "range": [low, high],
        "fixedrange": True,
        "showticklabels": False,
        "showgrid": False,
        "zeroline": False,
    }


def phases(sheet: Sheet) -> None:
    name = sheet.axis(LANE, "Phases", _lane_axis())
    phases = sheet.ledger.phases
    if not phases:
        _nothing(sheet, name, "no phases are told for this window")
        return
    trace = _bars(phases, [0.5] * len(phases), [1.0] * len(phases), name)
    steady = [sheet.colours.shade if p.heavy else "rgba(0,0,0,0)" for p in phases]
    trace["marker"] = {"color": steady, "line": {"color": sheet.colours.quiet, "width": 1}}
    trace["text"] = [p.text if p.end_ms - p.start_ms > 0.045 * sheet.span_ms else "" for p in phases]
    trace |= {"textposition": "inside", "insidetextanchor": "middle", "constraintext": "none", "textangle": 0}
    trace["insidetextfont"] = {"color": sheet.colours.ink}
    sheet.traces.append(trace)


def _bars(bands: Sequence[Band], lanes: list[float], width: list[float], name: str) -> dict[str, Any]:
    return {
        "type": "bar",
        "orientation": "h",
        "base": [b.start_ms for b in bands],
        "x": [max(1.0, b.end_ms - b.start_ms) for b in bands],
        "y": lanes,
        "width": width,
        "yaxis": name,
        "hovertext": [b.hover or b.text for b in bands],
        "hoverinfo": "text",
        "customdata": [b.key for b in bands],
    }


def _nothing(sheet: Sheet, name: str, text: str) -> None:
    sheet.annotations.append(
        {
            "xref": "paper",
            "x": 0,
            "xshift": 8,
            "xanchor": "left",
            "yref": f"{name} domain",
            "y": 0.5,
            "showarrow": False,
            "text": text,
            "font": {"color": sheet.colours.quiet},
        }
    )


def ticks(sheet: Sheet, title: str, ticks: Sequence[Tick], symbol: str, colour: str, *, words: bool) -> None:
    name = sheet.axis(LANE, title, _lane_axis())
    sheet.rule(name)
    if not ticks:
        return
    room = _with_room(ticks, 0.1 * sheet.span_ms)
    sheet.traces.append(
        {
            "type": "scatter",
            "mode": "markers+text" if words else "markers",
            "x": [t.time_ms for t in ticks],
            "y": [0.5] * len(ticks),
            "yaxis": name,
            "marker": {"symbol": symbol, "size": 12, "color": colour, "line": {"width": 2, "color": colour}},
            "text": [f" {_short(t.text)} " if r else "" for t, r in zip(ticks, room, strict=True)],
            "textposition": [
                "middle right" if t.time_ms < sheet.start_ms + 0.88 * sheet.span_ms else "middle left"
                for t in ticks
            ],
            "textfont": {"color": colour},
            "hovertext": [escaped(t.hover or t.text) for t in ticks],
            "hoverinfo": "text",
        }
    )


def _with_room(ticks: Sequence[Tick], least_ms: float) -> list[bool]:
    """Which ticks are far enough from the next one that their words can be read."""
    times = [t.time_ms for t in ticks]
    following = [*times[1:], float("inf")]
    return [after - at > least_ms for at, after in zip(times, following, strict=True)]


def _short(text: str) -> str:
    return escaped(text if len(text) <= 22 else text[:21] + "…")


def escaped(text: str) -> str:
    """Words of people as the picture may show them: its labels read HTML tags, so none may get there."""
    kept = text.replace("<br>", "\n")
    return kept.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace("\n", "<br>")


def alarms(sheet: Sheet) -> None:
    bands = [b for b in sheet.ledger.alarms if b.lane < MOST_ALARM_LANES]
    lanes = max([b.lane for b in bands], default=0) + 1
    name = sheet.axis(max(LANE, lanes * ALARM_LANE), "Alarms", _lane_axis(lanes - 0.5, -0.5))
    sheet.rule(name)
    if not bands:
        _nothing(sheet, name, "none")
        return
    colours = [sheet.colours.bars[b.bars] for b in bands]
    trace = _bars(bands, [float(b.lane) for b in bands], [0.7 if b.heavy else 0.25 for b in bands], name)
    trace["meta"] = "alarms"
    trace["hovertext"] = [escaped(b.hover) for b in bands]
    trace["marker"] = {
        "color": ["rgba(0,0,0,0)" if b.hollow else c for b, c in zip(bands, colours, strict=True)],
        "line": {"color": colours, "width": 2},
    }
    sheet.traces.append(trace)
    sheet.traces.append(_names(sheet, name, [b for b in bands if b.text]))


def _names(sheet: Sheet, name: str, named: Sequence[Band]) -> dict[str, Any]:
    """Names to the left of a bar where there is room, else to the right of the alarm's last stretch."""
    left_ms = sheet.start_ms + 0.12 * sheet.span_ms
    ends = {b.key: b.end_ms for b in sorted(sheet.ledger.alarms, key=lambda b: b.end_ms)}
    at = [
        (b.start_ms, "middle left") if b.start_ms > left_ms else (ends[b.key], "middle right") for b in named
    ]
    return {
        "type": "scatter",
        "mode": "text",
        "x": [x for x, _ in at],
        "y": [float(b.lane) for b in named],
        "yaxis": name,
        "text": [f" {GRADE_GLYPH[b.bars]} {escaped(b.text)} " for b in named],
        "textposition": [place for _, place in at],
        "textfont": {"color": sheet.colours.ink},
        "customdata": [b.key for b in named],
        "meta": "alarms",
        "hoverinfo": "skip",
    }


def cleanings(sheet: Sheet) -> None:
    """One upright stroke a cleaning, as high as the pressure came down."""
    name = sheet.axis(LANE, "Cleanings", _lane_axis())
    sheet.rule(name)
    ticks = sheet.ledger.cleanings
    if not ticks:
        _nothing(sheet, name, "none seen")
        return
    sheet.traces.append(
        {
            "type": "scatter",
            "mode": "lines",
            "x": [x for t in ticks for x in (t.time_ms, t.time_ms, None)],
            "y": [y for t in ticks for y in (0.0, t.height, None)],
            "yaxis": name,
            "line": {"color": sheet.colours.ink, "width": 2},
            "hovertext": [h for t in ticks for h in (t.hover, t.hover, "")],
            "hoverinfo": "text",
        }
    )
