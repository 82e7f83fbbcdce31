"""How much went through: by the product scale, the doser and the heat of the pellets; whether they agree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from process.balance import MOST_SPREAD, agreement
from process.pellet_heat import flow_kg_h, taken_kw
from rules.review import Window
from trials.figures.counter import rate_per_h
from trials.figures.figure import Figure
from trials.figures.measured import Measured, derived, missing
from trials.figures.trace import Traces
from trials.figures.weighting import mean

SCALE, DOSER = "product.scale.total", "doser.rate.pv"
SUPPLY, RETURN, WATER = "water.supply.temp.pv", "water.return.temp.pv", "water.flow.pv"
MELT = "extruder.melt.temp.pv"
LEAST_OF_PLAN = 0.2
LEAST_KG_H = 1.0
"""With less there is nothing to relate to. common practice, no source: both."""


@dataclass(frozen=True, slots=True)
class MaterialHeat:
    """What a kilogram of the material takes up and gives back.

    Attributes:
        heat_capacity_kj_kg_k, melting_kj_kg: one mean heat capacity of solid and melt; what melting takes.
        pellet_cel: pellets as they leave the water, in their core.
    """

    heat_capacity_kj_kg_k: float
    melting_kj_kg: float
    pellet_cel: float


def flow_that_counts(flow: Measured, planned_kg_h: float | None) -> Measured:
    """A throughput, or why nothing may be related to it: it is next to nothing, or far below the plan."""
    least = max(LEAST_KG_H, LEAST_OF_PLAN * (planned_kg_h or 0.0))
    return flow.unless(
        not flow.value >= least,
        f"the throughput of {flow.value:.0f} kg/h is below {least:.0f} kg/h",
    )


def by_scale(traces: Traces, windows: Sequence[Window]) -> Measured:
    """Pellets on the product scale, kg/h."""
    return rate_per_h(traces, SCALE, windows)


def by_doser(traces: Traces, windows: Sequence[Window]) -> Measured:
    """Feed, kg/h: what the screen sees, dirt and water in it."""
    return mean(traces, DOSER, windows)


def by_heat(traces: Traces, windows: Sequence[Window], heat: MaterialHeat | None) -> Measured:
    """What the warming of the process water tells of the pellets, kg/h; good to about 8 %."""
    if heat is None:
        return missing("the heat capacity of the material is not told", SUPPLY, RETURN, WATER)

    def flow(supply: float, back: float, water: float, melt: float) -> float:
        taken = taken_kw(water, back - supply)
        return flow_kg_h(taken, melt, heat.pellet_cel, heat.heat_capacity_kj_kg_k, heat.melting_kj_kg)

    inputs = [mean(traces, path, windows) for path in (SUPPLY, RETURN, WATER, MELT)]
    found = derived(flow, *inputs)
    return found.unless(not found.value > 0, "the process water does not return warmer than it came")


def best(traces: Traces, windows: Sequence[Window], planned_kg_h: float | None = None) -> Measured:
    """The throughput that other figures are related to: the product scale, else the doser."""
    scale = flow_that_counts(by_scale(traces, windows), planned_kg_h)
    return scale if scale.known else flow_that_counts(by_doser(traces, windows), planned_kg_h)


def throughput_figures(
    traces: Traces,
    windows: Sequence[Window],
    *,
    planned_kg_h: float | None = None,
    heat: MaterialHeat | None = None,
    losses_kg_h: Measured | None = None,
) -> list[Figure]:
    """The three readings, and the mean of the two that agree best.

    Args:
        losses_kg_h: what left the line before the pellets, to be taken off the feed when it is compared;
            None: not known.
    """
    scale, doser = by_scale(traces, windows), by_doser(traces, windows)
    water = by_heat(traces, windows, heat)
    net = doser
    if losses_kg_h is not None and losses_kg_h.known:
        net = derived(lambda feed, lost: feed - lost, doser, losses_kg_h)
    return [
        Figure.of(
            "throughput, product scale",
            "kg/h",
            flow_that_counts(scale, planned_kg_h),
            windows,
            "What the scale counted between its first and last sample of the window, over that time.",
        ),
        Figure.of(
            "throughput, doser",
            "kg/h",
            flow_that_counts(doser, planned_kg_h),
            windows,
            "Mean feed by time; dirt, water and what is discharged are in it.",
        ),
        Figure.of(
            "throughput, heat of the pellets",
            "kg/h",
            flow_that_counts(water, planned_kg_h),
            windows,
            "Heat that the process water took up over what a kilogram of melt gives.",
            ["Good to about 8 %, and only if both water probes read alike without melt."],
        ),
        _agreed({"product scale": scale, "doser": net, "heat of the pellets": water}, windows, planned_kg_h),
    ]


def _agreed(readings: dict[str, Measured], windows: Sequence[Window], planned_kg_h: float | None) -> Figure:
    """The mean of the two readings that are nearest to each other."""
    known = {n: m for n, m in readings.items() if flow_that_counts(m, planned_kg_h).known}
    found = agreement({n: m.value for n, m in known.items()})
    method = "Mean of the two readings that are nearest to each other."
    if not found.names:
        few = missing("fewer than two readings of the throughput are known")
        return Figure.of("throughput, agreed", "kg/h", few, windows, method)
    one, other = (known[name] for name in found.names)
    both = derived(lambda a, b: (a + b) / 2, one, other)
    remarks = [f"Of {found.names[0]} and {found.names[1]}."]
    if not found.spread <= MOST_SPREAD:
        remarks.append(
            f"The readings lie {100 * (found.spread if found.spread < inf else 1):.0f} % apart: "
            "which of them is right is not known."
        )
    return Figure.of("throughput, agreed", "kg/h", both, windows, method, remarks)
