"""How often the screen was cleaned, what each cleaning brought, what stayed, what was thrown out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import isnan, nan, sqrt

import numpy as np

from process.cycles import Cycle
from rules.review import Window
from trials.figures.counter import gain_between
from trials.figures.figure import Figure
from trials.figures.lasting import lasting_figure
from trials.figures.measured import Measured, derived, missing, told
from trials.figures.pressures import DP, with_difference
from trials.figures.throughput import by_doser, by_scale, flow_that_counts
from trials.figures.trace import NS, Traces
from trials.figures.weighting import NO_WINDOW, apart

DISCHARGE = "filter.discharge.weight.total"
WIPER = "filter.wiper.state"
LEAST_CYCLES = 3
"""common practice, no source."""


def cycles_within(cycles: Sequence[Cycle], windows: Sequence[Window]) -> list[Cycle]:
    """The complete cleanings that begin in the windows, in the order of time."""
    within = apart(windows)
    inside = [c for c in cycles if c.complete and any(c.start_ns in w for w in within)]
    return sorted(inside, key=lambda c: c.start_ns)


def whole_periods(cycles: Sequence[Cycle], windows: Sequence[Window]) -> list[Cycle]:
    """Of these, the ones whose whole period lies in one window."""
    within = apart(windows)
    return [
        c
        for c in cycles_within(cycles, windows)
        if not isnan(c.period_s)
        and any(w.start_ns <= c.start_ns - c.period_s * NS and c.start_ns < w.end_ns for w in within)
    ]


def cleaning_figures(
    traces: Traces,
    cycles: Sequence[Cycle],
    windows: Sequence[Window],
    *,
    clean_dp_bar: Measured | None = None,
    dirt_share: Measured | None = None,
    planned_kg_h: float | None = None,
) -> list[Figure]:
    """Period, amplitude, recovery, lasting rise, and what was discharged.

    Args:
        cycles: of the whole trial (see ``process.cycles``).
        clean_dp_bar: pressure difference over the clean screen at this operating point; None: not known.
        dirt_share: dirt in what was discharged, by the laboratory, 0 to 1; None: not known.
    """
    inside, periods = cycles_within(cycles, windows), whole_periods(cycles, windows)
    period = _over(periods, lambda c: c.period_s, windows, WIPER)
    discharged = _discharge_kg(traces, periods, windows)
    loss = _loss_percent(traces, discharged, period, windows, planned_kg_h)
    share = dirt_share if dirt_share is not None else told(None, "the share of dirt in the discharge")
    clean = clean_dp_bar if clean_dp_bar is not None else told(None, "the pressure over the clean screen")
    scatter = _scatter_percent(periods, windows)
    return [
        Figure.of("cleaning period", "s", period, windows, "Mean time from one cleaning to the next."),
        Figure.of(
            "scatter of the cleaning period",
            "%",
            scatter,
            windows,
            "Standard deviation over mean; it tells how even the material was.",
        ),
        Figure.of(
            "cleaning amplitude",
            "bar",
            _amplitude(traces, inside, windows),
            windows,
            "Mean of the pressure difference before each cleaning less that after it.",
        ),
        Figure.of(
            "recovery",
            "%",
            _recovery(inside, clean, windows),
            windows,
            "Share of the pressure above that of the clean screen which a cleaning takes away.",
        ),
        lasting_figure(inside, windows),
        Figure.of(
            "discharged at a cleaning",
            "kg",
            discharged,
            windows,
            "What the scale counted over whole periods.",
        ),
        Figure.of(
            "discharge loss, gross", "%", loss, windows, "All that was discharged over all that was fed."
        ),
        Figure.of(
            "discharge loss, melt",
            "%",
            derived(lambda gross, dirt: gross * (1 - dirt), loss, share),
            windows,
            "The part of the gross loss that is not dirt.",
        ),
    ]


def _loss_percent(
    traces: Traces,
    discharged: Measured,
    period: Measured,
    windows: Sequence[Window],
    planned_kg_h: float | None,
) -> Measured:
    """Of the feed; where that is not known, of pellets and discharge together."""
    feed = flow_that_counts(by_doser(traces, windows), planned_kg_h)
    if feed.known:
        return derived(lambda kg, s, rate: 100 * kg * 3600 / s / rate, discharged, period, feed)
    pellets = flow_that_counts(by_scale(traces, windows), planned_kg_h)

    def of_both(kg: float, s: float, rate: float) -> float:
        return 100 * kg * 3600 / s / (rate + kg * 3600 / s)

    return derived(of_both, discharged, period, pellets if pellets.known else feed)


def _too_few(count: int, windows: Sequence[Window], what: str) -> str:
    if not apart(windows):
        return NO_WINDOW
    return "" if count >= LEAST_CYCLES else f"{count} {what} lie in the window; {LEAST_CYCLES} are needed"


def _over(
    cycles: Sequence[Cycle], number: Callable[[Cycle], float], windows: Sequence[Window], path: str
) -> Measured:
    """Mean over cleanings, with their scatter."""
    values = np.array([v for v in map(number, cycles) if not isnan(v)])
    why = _too_few(len(values), windows, "whole cleaning periods" if path == WIPER else "complete cleanings")
    if why:
        return missing(why, path)
    scatter = float(np.std(values, ddof=1)) / sqrt(len(values))
    # Cleanings come from one to the next: their scatter is a source of its own for each figure.
    return Measured(float(values.mean()), {f"{path}, scatter of the cleanings": scatter}, tags=(path,))


def _scatter_percent(periods: Sequence[Cycle], windows: Sequence[Window]) -> Measured:
    values = np.array([c.period_s for c in periods])
    why = _too_few(len(values), windows, "whole cleaning periods")
    if why:
        return missing(why, WIPER)
    share = float(np.std(values, ddof=1) / values.mean())
    # Source: standard error of a coefficient of variation of normal values, c √(1/2 + c²) / √n.
    return Measured(
        100 * share, {"sample": 100 * share * sqrt((0.5 + share**2) / len(values))}, tags=(WIPER,)
    )


def _amplitude(traces: Traces, cycles: Sequence[Cycle], windows: Sequence[Window]) -> Measured:
    """A difference of two readings of one gauge: offsets cancel, a gain does not."""
    found = _over(cycles, lambda c: c.amplitude_bar, windows, DP)
    trace = with_difference(traces).get(DP)
    if not found.known:
        return found
    if trace is None or trace.calibration is None:
        who = trace.tags if trace is not None else (DP,)
        return Measured(found.value, found.parts, frozenset(who), who)
    gains = trace.calibration.gain_of(found.value)
    return Measured(found.value, {**found.parts, **gains}, tags=trace.tags)


def _recovery(cycles: Sequence[Cycle], clean: Measured, windows: Sequence[Window]) -> Measured:
    """Mean share of the removable pressure that was removed, %."""

    def mean_percent(clean_bar: float) -> float:
        shares = [100 * s for s in (c.effectiveness(clean_bar) for c in cycles) if not isnan(s)]
        return sum(shares) / len(shares) if shares else nan

    why = _too_few(len(cycles), windows, "complete cleanings")
    if why:
        return missing(why, DP)
    hardly = "there is hardly any pressure above that of the clean screen to take away"
    found = derived(mean_percent, clean, otherwise=hardly)
    scatter = _over(cycles, lambda c: 100 * c.effectiveness(clean.value), windows, DP)
    if not found.known or not scatter.known:
        return found if not found.known else scatter
    return replace(found, parts={**found.parts, **scatter.parts}, tags=(DP,))


def _discharge_kg(traces: Traces, periods: Sequence[Cycle], windows: Sequence[Window]) -> Measured:
    """Mean over whole periods: what a cleaning throws out has reached the scale before the next begins."""
    why = _too_few(len(periods), windows, "whole cleaning periods")
    if why:
        return missing(why, DISCHARGE)
    trace = traces.get(DISCHARGE)
    if trace is None:
        return missing(f"{DISCHARGE} is not recorded", DISCHARGE)
    gains = [gain_between(trace, c.start_ns - round(c.period_s * NS), c.start_ns) for c in periods]
    known = np.array([g.amount for g in gains if g is not None])
    if len(known) < LEAST_CYCLES:
        return missing(
            f"the discharge scale is known over {len(known)} whole periods; {LEAST_CYCLES} are needed",
            DISCHARGE,
        )
    value = float(known.mean())
    if not value >= 0:
        return missing("the discharge scale fell from one cleaning to the next", DISCHARGE)
    parts = {f"{DISCHARGE}, scatter of the cleanings": float(np.std(known, ddof=1)) / sqrt(len(known))}
    if trace.calibration is not None:
        parts |= trace.calibration.gain_of(value)
    unknown = frozenset({DISCHARGE}) if trace.calibration is None else frozenset[str]()
    return Measured(value, parts, unknown, (DISCHARGE,), len(known) / len(periods))
