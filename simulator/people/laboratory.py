"""What the laboratory finds in a bag: the truth at its sampling, with its own scatter, delivered later."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import TYPE_CHECKING
from zlib import crc32

import numpy as np

from historian.event import Event
from simulator.moments import at_ns

if TYPE_CHECKING:
    from simulator.scenarios.scenario import Place, Sample

SOURCE = "laboratory"
KIND = "lab-result"

PELLETS_COUNTED = 500


@dataclass(frozen=True, slots=True)
class Truth:
    """What is really in the bag at the time of sampling; NaN where there is nothing to measure.

    Attributes:
        length_mm, mass_mg: of one pellet.
        tails_percent, agglomerates_percent: of the pellets, by number.
        moisture_percent: surface moisture of pellets, or moisture of the feed.
        mfr_g_10min: at the material's first temperature and load.
        ash_percent: of what is in the bag.
        dirt_ppm: dirt that got through the screen.
        dirt_percent: dirt in what was discharged.
        bulk_density_kg_m3: of the feed.
    """

    length_mm: float = float("nan")
    mass_mg: float = float("nan")
    tails_percent: float = float("nan")
    agglomerates_percent: float = float("nan")
    moisture_percent: float = float("nan")
    mfr_g_10min: float = float("nan")
    ash_percent: float = float("nan")
    dirt_ppm: float = float("nan")
    dirt_percent: float = float("nan")
    bulk_density_kg_m3: float = float("nan")


@dataclass(frozen=True, slots=True)
class Measure:
    """One thing that the laboratory measures.

    Attributes:
        text, unit: for a person; canonical unit.
        places: what it can be measured on.
        of: the field of ``Truth`` that it shows.
        gain: shown = gain · truth.
        relative, absolute: standard deviations of the result, of the value and in its unit.
        counted: found by counting: shares of ``PELLETS_COUNTED``, or whole specks.
        decimals: as it is written down.

    common practice, no source: all deviations.
    """

    text: str
    unit: str
    places: tuple[Place, ...]
    of: str
    gain: float = 1.0
    relative: float = 0.0
    absolute: float = 0.0
    counted: bool = False
    decimals: int = 2


_PELLETS: tuple[Place, ...] = ("pellets",)
# Specks on a pressed film of 100 g, taking each for a grain of about 0.1 mg. common practice, no source.
_SPECKS_PER_PPM = 0.1

MEASURES: Mapping[str, Measure] = {
    "length": Measure("pellet length", "mm", _PELLETS, "length_mm", relative=0.015, absolute=0.02),
    "mass10": Measure("mass of ten pellets", "mg", _PELLETS, "mass_mg", 10.0, 0.012, 0.5, decimals=1),
    "tails": Measure("tails", "%", _PELLETS, "tails_percent", counted=True, decimals=1),
    "agglomerates": Measure("agglomerates", "%", _PELLETS, "agglomerates_percent", counted=True, decimals=1),
    "moisture": Measure(
        "moisture", "%", ("pellets", "feed"), "moisture_percent", 1.0, 0.05, 0.005, decimals=3
    ),
    "mfr": Measure("melt flow rate", "g/10min", ("pellets", "feed"), "mfr_g_10min", 1.0, 0.03, 0.01),
    "ash": Measure("ash", "%", ("pellets", "discharge", "feed"), "ash_percent", 1.0, 0.02, 0.03),
    "specks": Measure(
        "specks in 100 g of film", "1", _PELLETS, "dirt_ppm", _SPECKS_PER_PPM, counted=True, decimals=0
    ),
    "dirt": Measure("dirt", "%", ("discharge", "feed"), "dirt_percent", 1.0, 0.06, 0.02),
    "bulk_density": Measure(
        "bulk density", "kg/m3", ("feed",), "bulk_density_kg_m3", 1.0, 0.02, 1.0, decimals=0
    ),
}


def result_of(sample: Sample, truth: Truth, *, seed: int, t0_ns: int) -> Event:
    """What the laboratory writes down for a bag, as the event that arrives with the results.

    The scatter depends on seed, bag and measure only. What cannot be measured is left out.

    Args:
        truth: what was in the bag when it was filled.
        t0_ns: time of the scenario's second 0, UTC nanoseconds.
    """
    values: dict[str, dict[str, float | str]] = {}
    for name in sample.measures:
        figure = _measured(name, truth, seed, sample.bag)
        if figure is not None:
            values[name] = {"value": figure, "unit": MEASURES[name].unit}
    sampled_ns, result_ns = at_ns(t0_ns, sample.at_s), at_ns(t0_ns, sample.results_s)
    shown = ", ".join(
        f"{MEASURES[n].text} {v['value']:g}{'' if v['unit'] == '1' else ' ' + str(v['unit'])}"
        for n, v in values.items()
    )
    return Event(
        result_ns,
        SOURCE,
        KIND,
        f"bag {sample.bag} ({sample.place}): {shown or 'nothing to measure in it'}",
        {
            "bag": sample.bag,
            "place": sample.place,
            "sample_ns": sampled_ns,
            "result_ns": result_ns,
            "values": values,
        },
    )


def _measured(name: str, truth: Truth, seed: int, bag: str) -> float | None:
    measure = MEASURES[name]
    real = measure.gain * float(getattr(truth, measure.of))
    if not np.isfinite(real):
        return None
    chance = np.random.Generator(np.random.PCG64([seed, crc32(f"laboratory: {bag}: {name}".encode())]))
    if measure.counted and measure.unit == "%":
        share = min(1.0, max(0.0, real / 100.0))
        shown = 100.0 * float(chance.binomial(PELLETS_COUNTED, share)) / PELLETS_COUNTED
    elif measure.counted:
        shown = float(chance.poisson(max(0.0, real)))
    else:
        sigma = sqrt((measure.relative * real) ** 2 + measure.absolute**2)
        shown = max(0.0, real + sigma * float(chance.standard_normal()))
    return round(shown, measure.decimals)


def in_time_order(samples: Sequence[Sample]) -> list[Sample]:
    """The samples by the time at which they are taken."""
    return sorted(samples, key=lambda s: (s.at_s, s.bag))
