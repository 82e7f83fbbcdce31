"""How warm melt and zones were, how far each zone was from its set-point, how far the zones lay apart."""

from __future__ import annotations

import re
from collections.abc import Sequence

from rules.review import Window
from trials.figures.figure import Figure
from trials.figures.measured import Measured, derived, missing
from trials.figures.trace import Trace, Traces
from trials.figures.weighting import NO_WINDOW, apart, held, mean, percentile, why_not

_ZONE = re.compile(r"(?P<group>filter\.plate|extruder\.zone|die\.zone)\.(?P<place>\d+)\.temp\.pv")
_GROUPS = {"extruder.zone": "barrel zone", "filter.plate": "filter plate", "die.zone": "die zone"}
_MELTS = {
    "extruder.melt.temp.pv": "melt at the screw tip",
    "filter.inlet.melt_temp.pv": "melt before the screen",
    "filter.outlet.melt_temp.pv": "melt after the screen",
}


def temperature_figures(traces: Traces, windows: Sequence[Window]) -> list[Figure]:
    """Melt temperatures, then each zone with its spread and deviation, then the spread of each group."""
    figures = []
    for path, name in _MELTS.items():
        figures += _mean_and_spread(traces, path, f"temperature, {name}", windows)
    zones = _zones(traces)
    for path, group, place in zones:
        name = f"{_GROUPS[group]} {place}"
        figures += _mean_and_spread(traces, path, f"temperature, {name}", windows)
        figures.append(
            Figure.of(
                f"highest deviation, {name}",
                "K",
                _deviation(traces, path, windows),
                windows,
                "Farthest from its set-point, either way, for all but 5 % of the time.",
            )
        )
    for group, name in _GROUPS.items():
        paths = [path for path, one, _ in zones if one == group]
        if len(paths) > 1:
            figures.append(_apart(traces, paths, name, windows))
    return figures


def _zones(traces: Traces) -> list[tuple[str, str, int]]:
    found = [(path, match) for path in traces if (match := _ZONE.fullmatch(path)) is not None]
    order = list(_GROUPS)
    zones = [(path, match["group"], int(match["place"])) for path, match in found]
    return sorted(zones, key=lambda zone: (order.index(zone[1]), zone[2]))


def _mean_and_spread(traces: Traces, path: str, name: str, windows: Sequence[Window]) -> list[Figure]:
    low, high = (percentile(traces, path, windows, percent) for percent in (5, 95))
    return [
        Figure.of(name, "Cel", mean(traces, path, windows), windows, "Mean by time, gaps not counted."),
        # P95 and P5 come from one sensor: its offset cancels.
        Figure.of(
            f"{name}, spread",
            "K",
            derived(lambda a, b: b - a, low, high),
            windows,
            "P95 less P5 by time.",
        ),
    ]


def _deviation(traces: Traces, path: str, windows: Sequence[Window]) -> Measured:
    setpoint = traces.get(path.removesuffix(".pv") + ".sp")
    why = why_not(traces, path, windows)
    if why:
        return missing(why, path)
    if setpoint is None:
        return missing(f"the set-point of {path} is not recorded", path)
    trace = traces[path]
    off = abs(trace.value - setpoint.at(trace.time_ns))
    against = Trace(path, trace.time_ns, off, trace.hold_s, trace.calibration)
    return percentile({path: against}, path, windows, 95)


def _apart(traces: Traces, paths: Sequence[str], name: str, windows: Sequence[Window]) -> Figure:
    """Highest less lowest mean of the zones of a group."""
    method = "Highest mean of a zone less the lowest."
    title = f"spread between {name}s"
    if not apart(windows):
        return Figure.of(title, "K", missing(NO_WINDOW, *paths), windows, method)
    means = {path: mean(traces, path, windows) for path in paths}
    for one in means.values():
        if not one.known:
            return Figure.of(title, "K", one, windows, method)
    coldest, hottest = (pick(means, key=lambda p: means[p].value) for pick in (min, max))
    spread = derived(lambda high, low: high - low, means[hottest], means[coldest])
    count = [len(held(traces[p], windows).value) for p in paths]
    remarks = [f"From {min(count)} samples of a zone or more; hottest {hottest}, coldest {coldest}."]
    return Figure.of(title, "K", spread, windows, method, remarks)
