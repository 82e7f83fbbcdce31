"""What the dirt of a material did to the screen: pressure rise for each kilogram of melt on its area."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import sqrt

import numpy as np

from process.cycles import Cycle
from process.screen_flow import filtration_load_bar_cm2_kg
from rules.review import Window
from trials.figures.cleaning import LEAST_CYCLES, whole_periods
from trials.figures.figure import Figure
from trials.figures.measured import Measured, derived, missing
from trials.figures.pressures import DP, with_difference
from trials.figures.resistance import Melt, Reference, ScreenInUse, area_of, at_reference
from trials.figures.throughput import MELT, by_doser, flow_that_counts
from trials.figures.trace import Traces
from trials.figures.weighting import NO_WINDOW, apart, mean

_NOT_THE_TEST = "It resembles the filter pressure value of EN 13900-5; it is not that test."


def filtration_figure(
    traces: Traces,
    cycles: Sequence[Cycle],
    windows: Sequence[Window],
    *,
    screen: ScreenInUse | None = None,
    melt: Melt | None = None,
    reference: Reference | None = None,
    planned_kg_h: float | None = None,
) -> Figure:
    """Filtration load: mean rise of the pressure difference from one cleaning to the next over the melt that
    passed each area meanwhile; at the reference throughput and temperature where melt and reference are told.

    Args:
        cycles: of the whole trial.
    """
    periods = whole_periods(cycles, windows)
    flow = flow_that_counts(by_doser(traces, windows), planned_kg_h)
    rise = _rise_bar(traces, cycles, periods, windows)
    method = "Rise of the pressure difference between cleanings over the melt on each area of the screen."
    if melt is not None and reference is not None:
        rise = at_reference(rise, flow, mean(traces, MELT, windows), melt, reference)
        method += " The rise is brought to the reference throughput and melt temperature."
    seconds = float(np.mean([c.period_s for c in periods])) if periods else 0.0
    load = derived(
        lambda bar, kg_h, cm2: filtration_load_bar_cm2_kg(bar, kg_h * seconds / 3600, cm2),
        rise,
        flow,
        area_of(screen),
    )
    return Figure.of("filtration load", "bar.cm2/kg", load, windows, method, [_NOT_THE_TEST])


def _rise_bar(
    traces: Traces, cycles: Sequence[Cycle], periods: Sequence[Cycle], windows: Sequence[Window]
) -> Measured:
    """From after one cleaning to before the next: offsets of the gauges cancel."""
    if not apart(windows):
        return missing(NO_WINDOW, DP)
    every = sorted(cycles, key=lambda c: c.start_ns)
    trough = {c.start_ns: b.trough_bar for b, c in pairwise(every) if b.complete}
    rises = np.array([c.peak_bar - trough[c.start_ns] for c in periods if c.start_ns in trough])
    if len(rises) < LEAST_CYCLES:
        return missing(f"{len(rises)} whole rises lie in the window; {LEAST_CYCLES} are needed", DP)
    value = float(rises.mean())
    parts = {f"{DP}, scatter of the rises": float(np.std(rises, ddof=1)) / sqrt(len(rises))}
    trace = with_difference(traces).get(DP)
    if trace is None or trace.calibration is None:
        return Measured(value, parts, frozenset({DP}), (DP,))
    return Measured(value, {**parts, **trace.calibration.gain_of(value)}, tags=trace.tags)
