"""Pressures before and after the screen and their difference: mean, percentiles and highest value by time."""

from __future__ import annotations

from collections.abc import Sequence

from rules.review import Window
from trials.figures.figure import Figure
from trials.figures.trace import Trace, Traces, difference
from trials.figures.weighting import maximum, mean, percentile

INLET, OUTLET, DP = "filter.inlet.pressure.pv", "filter.outlet.pressure.pv", "filter.dp.calc"
_NAMES = {
    INLET: "pressure before the screen",
    OUTLET: "pressure after the screen",
    DP: "pressure difference over the screen",
}


def with_difference(traces: Traces) -> dict[str, Trace]:
    """The same traces, with the pressure difference.

    It is made from both pressures where they are there, so that what their sensors share cancels; the
    difference that the machine sends stands for it otherwise.
    """
    whole = dict(traces)
    if INLET in traces and OUTLET in traces:
        whole[DP] = difference(DP, traces[INLET], traces[OUTLET])
    return whole


def pressure_figures(traces: Traces, windows: Sequence[Window]) -> list[Figure]:
    """Mean, P5, P95 and highest value of the three, gaps not counted.

    The percentiles say what the pressure was for most of the time: over a saw-tooth they lie near its troughs
    and peaks.
    """
    whole = with_difference(traces)
    figures = []
    for path, name in _NAMES.items():
        for kind, measured, method in (
            ("mean", mean(whole, path, windows), "Mean by time, gaps not counted."),
            ("P5", percentile(whole, path, windows, 5), "Not above it for 5 % of the time."),
            ("P95", percentile(whole, path, windows, 95), "Not above it for 95 % of the time."),
            ("highest", maximum(whole, path, windows), "Highest good sample."),
        ):
            figures.append(Figure.of(f"{name}, {kind}", "bar", measured, windows, method))
    return figures
