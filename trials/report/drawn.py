"""A trial as drawings: its signals in the reader's units, with names in the reader's language. Pure."""

from __future__ import annotations

from typing import Final

import numpy as np

from process import phase_names
from trials.figures import Trace
from trials.figures.pressures import DP, with_difference
from trials.pictures import Band, Curve, Dots, How, Row, Span, Strip, scatter_svg, stacked_svg, strips_svg
from trials.report.content import Picture
from trials.report.names import name_of_phase
from trials.report.units import shown as unit_shown
from trials.report.view import View

_PHASES: Final = {
    phase_names.OFF: "#ffffff",
    phase_names.HEAT_UP: "#f3d9b1",
    phase_names.SOAK: "#e8b86b",
    phase_names.START: "#cfe3f0",
    phase_names.RAMP: "#9cc7e4",
    phase_names.STEADY: "#0072B2",
    phase_names.RUNNING: "#6aa9d2",
    phase_names.STANDBY: "#dcdcdc",
    phase_names.SHUTDOWN: "#c8c8c8",
    phase_names.SCREEN_CHANGE: "#b0b0b0",
    phase_names.MATERIAL_CHANGE: "#e3b7cf",
}
"""Warm while heating, blue while running, the steady time darkest: told apart in grey print by lightness."""
_ROWS: Final = (
    ("doser.rate.pv",),
    ("filter.inlet.pressure.pv", "filter.outlet.pressure.pv"),
    (DP,),
    ("extruder.melt.temp.pv",),
    ("extruder.drive.torque.pv",),
)
CYCLES: Final = 5
STANDSTILL: Final = 4.0
"""An interval of so many usual ones is a standstill, not an interval. common practice, no source."""


def how(view: View) -> How:
    """What holds for all drawings of a report."""
    return How(view.say.zone, view.say.comma, view.say("no data"))


def _axis(view: View, name: str, unit: str) -> str:
    shown = view.say.unit(unit)
    return f"{name} [{shown}]" if shown else name


def _curve(view: View, trace: Trace, label: str, unit: str) -> Curve:
    scale = unit_shown(unit, view.say.system)
    return Curve(label, trace.time_ns, trace.value * scale.scale + scale.offset, trace.hold_s)


def overview(view: View) -> Picture:
    """Feed, pressures, their difference with the cleanings, melt temperature and torque, over the trial."""
    say, outcome = view.say, view.outcome
    traces = with_difference(outcome.traces)
    names = {
        "doser.rate.pv": (say("feed"), "kg/h"),
        "filter.inlet.pressure.pv": (say("before"), "bar"),
        "filter.outlet.pressure.pv": (say("after"), "bar"),
        DP: (say("difference"), "bar"),
        "extruder.melt.temp.pv": (say("melt"), "Cel"),
        "extruder.drive.torque.pv": (say("torque"), "%"),
    }
    axes = (say("Feed"), say("Pressure"), say("Difference"), say("Melt"), say("Torque"))
    ticks = tuple(c.start_ns for c in outcome.timeline.cleanings)
    rows = []
    for axis, paths in zip(axes, _ROWS, strict=True):
        unit = names[paths[0]][1]
        curves = tuple(_curve(view, traces[p], *names[p]) for p in paths if p in traces)
        rows.append(Row(_axis(view, axis, unit), curves, ticks if DP in paths else ()))
    bands = [Band(w.start_ns, w.end_ns, point.name) for point in outcome.points for w in point.windows]
    svg = stacked_svg(rows, (outcome.trial.start_ns, outcome.end_ns), how(view), bands)
    caption = say(
        "Overview. Short lines under the pressure difference are cleanings; shaded: operating points. Gaps "
        "are "
        "gaps in the data. Time: {zone}.",
        zone=say.zone.key,
    )
    return Picture(svg, caption)


def time_table(view: View) -> Picture:
    """Phases, operating points, cleanings, alarms and what does not count, as strips."""
    say, outcome, line = view.say, view.outcome, view.outcome.timeline
    phases = tuple(
        Span(p.start_ns, p.end_ns, p.name, name_of_phase(p.name, say)) for p in (k.phase for k in view.phases)
    )
    points = tuple(Span(w.start_ns, w.end_ns, "", p.name) for p in outcome.points for w in p.windows)
    end_ns = outcome.end_ns
    alarms = tuple(
        Span(b.start_ns, max(end_ns if b.end_ns is None else b.end_ns, b.start_ns + 1), "")
        for b in line.alarms
        if not b.late
    )
    strips = [
        Strip(say("Phase"), phases, _PHASES),
        Strip(say("Operating point"), points, {"": "#bfbfbf"}),
        Strip(
            say("Does not count"),
            tuple(Span(e.window.start_ns, e.window.end_ns, "") for e in outcome.excluded),
        ),
        Strip(say("Cleanings"), tuple(Span(c.start_ns, c.start_ns, "") for c in line.cleanings)),
    ]
    if outcome.judged:
        strips.append(Strip(say("Alarms"), alarms, {"": "#D55E00"}))
    strips[2] = Strip(strips[2].label, strips[2].spans, {"": "#CC79A7"})
    svg = strips_svg(strips, (outcome.trial.start_ns, end_ns), how(view))
    return Picture(
        svg, say("Phases of the trial and what happened in them. Time: {zone}.", zone=say.zone.key)
    )


def saw_tooth(view: View) -> Picture | None:
    """The pressure difference over five cleanings in the middle of the main operating point."""
    say, outcome = view.say, view.outcome
    traces = with_difference(outcome.traces)
    if view.main is None or DP not in traces:
        return None
    inside = [
        c
        for c in outcome.timeline.cleanings
        if c.complete and any(c.start_ns in w for w in view.main.windows)
    ]
    if len(inside) < CYCLES + 1:
        return None
    first = (len(inside) - CYCLES - 1) // 2
    shown = inside[first : first + CYCLES + 1]
    before_ns = round((shown[1].start_ns - shown[0].start_ns) * 0.15)
    span = (shown[0].start_ns - before_ns, shown[-1].end_ns + before_ns)
    scale = unit_shown("bar", say.system).scale
    x = np.array([t for c in shown for t in (c.start_ns, c.end_ns + 5_500_000_000)], dtype=np.int64)
    y = np.array([v * scale for c in shown for v in (c.peak_bar, c.trough_bar)])
    row = Row(
        _axis(view, say("Difference"), "bar"),
        (_curve(view, traces[DP], "", "bar"),),
        dots=(Dots("", x, y),),
    )
    bands = [Band(c.start_ns, c.end_ns, "") for c in shown]
    svg = stacked_svg([row], span, how(view), bands, row_in=1.9)
    caption = say(
        "Pressure difference over {count} cleanings in the middle of {point}; shaded: the wiper runs; dots: "
        "peak and trough as they are counted. Time: {zone}.",
        count=CYCLES + 1,
        point=view.main.name,
        zone=say.zone.key,
    )
    return Picture(svg, caption)


def troughs(view: View) -> Picture | None:
    """Pressure difference after each cleaning, and the time since the cleaning before, over the trial."""
    say, outcome = view.say, view.outcome
    cycles = [c for c in outcome.timeline.cleanings if c.complete]
    if len(cycles) < 3:
        return None
    scale = unit_shown("bar", say.system).scale
    x = np.array([c.start_ns for c in cycles], dtype=np.int64)
    group = tuple(_point_at(view, c.start_ns) for c in cycles)
    period_s = np.array([c.period_s for c in cycles])
    usual_s = np.nanmedian(period_s) if np.isfinite(period_s).any() else np.inf
    period_s[period_s > STANDSTILL * usual_s] = np.nan
    rows = [
        (
            _axis(view, say("After cleaning"), "bar"),
            Dots("", x, np.array([c.trough_bar * scale for c in cycles]), group),
        ),
        (_axis(view, say("Interval"), "s"), Dots("", x, period_s, group)),
    ]
    svg = scatter_svg(rows, how(view), shown_ns=(outcome.trial.start_ns, outcome.end_ns))
    caption = say(
        "Pressure difference after each cleaning, and time since the cleaning before, standstills left out: "
        "{count} cleanings. Time: {zone}.",
        count=len(cycles),
        zone=say.zone.key,
    )
    return Picture(svg, caption)


def index(view: View) -> Picture | None:
    """The pressure index after each cleaning against the melt that had passed since the trial's start."""
    say, outcome = view.say, view.outcome
    feed = outcome.traces.get("doser.rate.pv")
    cycles = [c for c in outcome.timeline.cleanings if c.complete and np.isfinite(c.trough_index)]
    if feed is None or len(cycles) < 3 or len(feed.time_ns) < 2:
        return None
    held_s = np.minimum(np.diff(feed.time_ns) / 1e9, feed.hold_s)
    passed = np.concatenate([[0.0], np.cumsum(np.nan_to_num(feed.value[:-1]) * held_s / 3600)])
    scale = unit_shown("kg", say.system)
    at = np.clip(np.searchsorted(feed.time_ns, [c.start_ns for c in cycles]), 0, len(passed) - 1)
    dots = Dots(
        "",
        passed[at] * scale.scale,
        np.array([c.trough_index for c in cycles]),
        tuple(_point_at(view, c.start_ns) for c in cycles),
    )
    svg = scatter_svg(
        [(_axis(view, say("Index after cleaning"), "%"), dots)],
        how(view),
        x_axis=_axis(view, say("Fed since the start"), "kg"),
    )
    caption = say(
        "Pressure index (pressure difference over die pressure) after each cleaning against the mass fed: a "
        "stiffer melt moves both pressures, a loaded screen moves the index. {count} cleanings.",
        count=len(cycles),
    )
    return Picture(svg, caption)


def _point_at(view: View, time_ns: int) -> str:
    """Of which operating point a time is."""
    for point in view.outcome.points:
        if any(time_ns in w for w in point.windows):
            return point.name
    return view.say("outside")
