"""How long the melt stayed in each part of the line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from process.residence import residence_s
from rules.review import Window
from trials.figures.figure import Figure
from trials.figures.measured import derived, told
from trials.figures.throughput import best
from trials.figures.trace import Traces


@dataclass(frozen=True, slots=True)
class Vessel:
    """A part of the line that melt flows through.

    Attributes:
        name: for a person, as in "filter and die".
        volume_l: free volume, with its standard uncertainty.
        filled: share of it that holds melt, 0 to 1.
    """

    name: str
    volume_l: float
    volume_standard_l: float = 0.0
    filled: float = 1.0


def residence_figures(
    traces: Traces,
    windows: Sequence[Window],
    vessels: Sequence[Vessel],
    melt_density_kg_m3: float | None,
    *,
    planned_kg_h: float | None = None,
) -> list[Figure]:
    """Mean residence time of each vessel."""
    flow = best(traces, windows, planned_kg_h)
    density = told(melt_density_kg_m3, "the density of the melt")

    def figure(vessel: Vessel) -> Figure:
        volume = told(vessel.volume_l, f"the volume of {vessel.name}", vessel.volume_standard_l)
        volume = volume.unless(not volume.value > 0, f"the volume of {vessel.name} is not above zero")
        stays = derived(
            lambda litres, dense, rate: residence_s(litres, dense, rate, vessel.filled), volume, density, flow
        )
        method = "Volume times density over throughput: a mean, dead corners take longer."
        return Figure.of(f"residence time, {vessel.name}", "s", stays, windows, method)

    return [figure(vessel) for vessel in vessels]
