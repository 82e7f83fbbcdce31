"""How long the pellets should be by the flow and the knives, and how wet they came out."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite, sqrt

import numpy as np

from process.pellets import Cut
from rules.review import Window
from trials.figures.figure import Figure
from trials.figures.measured import Measured, derived, missing
from trials.figures.throughput import best
from trials.figures.trace import Traces
from trials.figures.weighting import NO_WINDOW, apart, mean

KNIFE, MOISTURE = "pelletizer.knife.speed.pv", "pellet.moisture.pv"
LEAST_SAMPLES = 2
_LEAST_KNIFE_PER_MIN = 10.0

Sample = tuple[int, float]
"""When pellets were taken, UTC nanoseconds, and what the laboratory found."""


def pellet_figures(
    traces: Traces,
    windows: Sequence[Window],
    *,
    cut: Cut | None = None,
    solid_density_kg_m3: Measured | None = None,
    moisture_samples: Sequence[Sample] = (),
    planned_kg_h: float | None = None,
) -> list[Figure]:
    """Calculated length and mass, and moisture by the laboratory or by its probe.

    Args:
        solid_density_kg_m3: of the pellets; None: not told.
        moisture_samples: in %, each at the time when it was taken.
    """
    flow = best(traces, windows, planned_kg_h)
    knife = mean(traces, KNIFE, windows)
    knife = knife.unless(not knife.value >= _LEAST_KNIFE_PER_MIN, "the knives stood")
    density = solid_density_kg_m3 if solid_density_kg_m3 is not None else missing("the density is not told")
    if cut is None:
        length = mass = missing("die plate and knives are not told", KNIFE)
    else:
        length, mass = derived(cut.length_mm, flow, knife, density), derived(cut.pellet_mg, flow, knife)
    return [
        Figure.of(
            "pellet length, calculated",
            "mm",
            length,
            windows,
            "Throughput over cuts, density and strand area.",
            ["All holes are taken as open; the swell of the strand is an assumption until it is calibrated."],
        ),
        Figure.of("pellet mass, calculated", "mg", mass, windows, "Throughput over cuts; all holes open."),
        _moisture(traces, windows, moisture_samples),
    ]


def _moisture(traces: Traces, windows: Sequence[Window], samples: Sequence[Sample]) -> Figure:
    within = apart(windows)
    inside = [v for t, v in samples if isfinite(v) and any(t in w for w in within)]
    name = "pellet moisture"
    if not within:
        return Figure.of(name, "%", missing(NO_WINDOW), windows, "")
    if len(inside) >= LEAST_SAMPLES:
        values = np.array(inside)
        scatter = float(np.std(values, ddof=1)) / sqrt(len(values))
        remarks = [f"{len(inside)} samples; the uncertainty is their scatter, not that of the method."]
        found = Measured(float(values.mean()), {"scatter of the samples": scatter})
        return Figure.of(name, "%", found, windows, "Mean of the laboratory's samples.", remarks)
    probe = mean(traces, MOISTURE, windows)
    if not probe.known:
        few = f"{len(inside)} samples were taken in the window, {LEAST_SAMPLES} are needed, and {probe.why}"
        probe = missing(few, MOISTURE)
    return Figure.of(name, "%", probe, windows, "Mean by time of the probe after the dryer.")
