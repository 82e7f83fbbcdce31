"""Which blocking law the screen follows over the cleanings of a window, in words and as a figure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from process.blocking_fit import BlockingFit, Rise, fit_blocking
from process.cycles import Cycle
from rules.review import Window
from trials.figures.cleaning import cycles_within, whole_periods
from trials.figures.figure import Figure
from trials.figures.measured import Measured, missing
from trials.figures.pressures import DP, with_difference
from trials.figures.throughput import DOSER
from trials.figures.trace import NS, Traces
from trials.figures.weighting import NO_WINDOW, apart

SETTLED_S = 20.0
"""From the end of a cleaning until the outlet is shut and the pressure follows the screen again.
common practice, no source."""
NOT_TOLD_APART = "not told apart"
_METHOD = (
    "Power m of the pressure difference in its rise with the melt that has passed, one m for all cycles by "
    "least squares, its interval by leaving out one cycle after the other."
)


@dataclass(frozen=True, slots=True)
class BlockingVerdict:
    """The figure m, the fit behind it, and what it means in words."""

    figure: Figure
    fit: BlockingFit | None
    words: str


def blocking_verdict(
    traces: Traces, cycles: Sequence[Cycle], windows: Sequence[Window], exponent: float | None
) -> BlockingVerdict:
    """Which law the rises between cleanings follow.

    Args:
        cycles: of the whole trial.
        exponent: power-law exponent n of the melt, which moves the powers of two of the laws; None: not told.
    """
    fit, why = _fit(traces, cycles, windows, exponent)
    if fit is None or fit.why:
        unknown = missing(why or (fit.why if fit is not None else ""), DP, DOSER)
        figure = Figure.of("blocking power", "1", unknown, windows, _METHOD)
        return BlockingVerdict(figure, fit, f"{NOT_TOLD_APART}: {figure.absent}")
    measured = Measured(fit.power, {"sample": fit.standard}, tags=(DP, DOSER))
    words = words_of(fit)
    remarks = [
        f"95 % interval {fit.low:.2f} to {fit.high:.2f} over {fit.cycles} cycles.",
        f"The law: {words}.",
    ]
    figure = Figure.of("blocking power", "1", measured, windows, _METHOD, remarks)
    return BlockingVerdict(figure, fit, words)


def words_of(fit: BlockingFit) -> str:
    """What a fit means, for a person."""
    if not fit.possible:
        return f"{NOT_TOLD_APART}: the pressure rises unlike any of the laws"
    if fit.wiping_helps is None:
        return f"{NOT_TOLD_APART}: {' or '.join(law.value for law in fit.possible)}"
    which = " or ".join(law.value for law in fit.possible)
    where = (
        "dirt lies on the screen" if fit.wiping_helps else "dirt sits in the holes, wiping takes little of it"
    )
    return f"{which}: {where}"


def rises_of(traces: Traces, cycles: Sequence[Cycle], windows: Sequence[Window]) -> list[Rise]:
    """The pressure difference between cleanings against the melt that has passed; gaps are left out.

    Args:
        traces: with pressure difference and feed.
    """
    dp, feed = traces[DP], traces[DOSER]
    rises = []
    every = sorted(cycles, key=lambda c: c.start_ns)
    began = {c.start_ns: before.end_ns for before, c in pairwise(every) if before.complete}
    for cycle in whole_periods(cycles, windows):
        start_ns = began.get(cycle.start_ns)
        if start_ns is None:
            continue
        first, last = np.searchsorted(dp.time_ns, [start_ns + int(SETTLED_S * NS), cycle.start_ns])
        time_ns, value = dp.time_ns[first:last], dp.value[first:last]
        if len(time_ns) < 2:
            continue
        flow = feed.at(time_ns)
        # Where the feed is not known for a moment, as it was before: it runs on.
        typical = float(np.median(flow[~np.isnan(flow)])) if np.any(~np.isnan(flow)) else np.nan
        flow = np.where(np.isnan(flow), typical, flow)
        passed = np.concatenate([[0.0], np.cumsum(flow[:-1] * np.diff(time_ns) / NS / 3600)])
        rises.append(Rise(passed, value))
    return rises


def _fit(
    traces: Traces, cycles: Sequence[Cycle], windows: Sequence[Window], exponent: float | None
) -> tuple[BlockingFit | None, str]:
    whole = with_difference(traces)
    if not apart(windows):
        return None, NO_WINDOW
    for path in (DP, DOSER):
        if path not in whole:
            return None, f"{path} is not recorded"
    if exponent is None or not exponent > 0:
        return None, "the melt's power-law exponent is not told"
    if not cycles_within(cycles, windows):
        return None, "no complete cleaning lies in the window"
    return fit_blocking(rises_of(whole, cycles, windows), exponent), ""
