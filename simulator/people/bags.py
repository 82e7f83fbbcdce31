"""What is in a bag that somebody fills at the line, from the true state of the plant."""

from __future__ import annotations

from typing import Protocol

from historian.event import Event
from simulator.machines.filter import MeltFilter
from simulator.machines.melt import POLYMERS
from simulator.machines.pelletizing import Pelletizing
from simulator.machines.upsets import Upsets
from simulator.people.laboratory import Truth, in_time_order, result_of
from simulator.scenarios.scenario import MaterialSheet, Sample, Scenario

_NO_PELLETS_MM = 0.05


class Line(Protocol):
    """What of the plant the laboratory's bags are filled from."""

    viscosity_factor: float
    upsets: Upsets
    filter: MeltFilter
    pelletizing: Pelletizing


class Bags:
    """Fills the scenario's bags as time goes by, and hands over the results when they arrive.

    Args:
        scenario: whose samples.
        t0_ns: time of the scenario's second 0, UTC nanoseconds.
    """

    def __init__(self, scenario: Scenario, t0_ns: int) -> None:
        self._scenario = scenario
        self._t0_ns = t0_ns
        self._coming = in_time_order(scenario.samples)[::-1]
        self._results: list[tuple[float, Event]] = []
        self._thrown_kg = self._dirt_thrown_kg = 0.0

    def fill(self, second: float, line: Line) -> None:
        """Fill the bags that are due by that second."""
        while self._coming and self._coming[-1].at_s <= second:
            sample = self._coming.pop()
            truth = self._truth(sample, line)
            event = result_of(sample, truth, seed=self._scenario.seed, t0_ns=self._t0_ns)
            self._results.append((sample.results_s, event))

    def arrived(self, second: float) -> list[Event]:
        """The results that have arrived by that second and were not handed over yet, by time of arrival."""
        ready = sorted((r for r in self._results if r[0] <= second), key=lambda r: r[0])
        self._results = [r for r in self._results if r[0] > second]
        return [event for _, event in ready]

    def _truth(self, sample: Sample, line: Line) -> Truth:
        sheet = self._scenario.material_at(sample.at_s)
        if sample.place == "feed":
            return feed_of(sheet, line.upsets)
        if sample.place == "discharge":
            return self._discharge(sheet, line)
        return pellets_of(sheet, line, stiffness_of_mfr=self._scenario.material.viscosity_factor)

    def _discharge(self, sheet: MaterialSheet, line: Line) -> Truth:
        """Of what was thrown out since the bag before."""
        filter_ = line.filter
        thrown_kg = filter_.discharged_kg - self._thrown_kg
        dirt_kg = filter_.dirt_discharged_kg - self._dirt_thrown_kg
        self._thrown_kg, self._dirt_thrown_kg = filter_.discharged_kg, filter_.dirt_discharged_kg
        if thrown_kg <= 0.0:
            return Truth()
        dirt_percent = min(100.0, 100.0 * dirt_kg / thrown_kg)
        return Truth(
            dirt_percent=dirt_percent,
            ash_percent=dirt_percent + (1.0 - 0.01 * dirt_percent) * _filler_percent(sheet),
        )


def feed_of(sheet: MaterialSheet, upsets: Upsets) -> Truth:
    """What is in the hopper."""
    dirt_percent = sheet.dirt_percent * upsets.dirt_factor
    return Truth(
        moisture_percent=sheet.moisture_percent + upsets.moisture_percent,
        mfr_g_10min=sheet.mfr[0].g_10min if sheet.mfr else float("nan"),
        ash_percent=_filler_percent(sheet) + dirt_percent,
        dirt_percent=dirt_percent,
        bulk_density_kg_m3=sheet.bulk_density_kg_m3 * upsets.bulk_density_factor,
    )


def pellets_of(sheet: MaterialSheet, line: Line, *, stiffness_of_mfr: float = 1.0) -> Truth:
    """What leaves the dryer; nothing to measure where no pellets come.

    All filterable dirt counts as ash. Breakdown of the polymer on its way is not modelled.

    Args:
        sheet: what is fed.
        stiffness_of_mfr: viscosity factor of the material whose melt flow rate is known.

    Source: at the constant stress of the test γ ∝ (τ/K)^(1/n), so that the rate goes with K^(−1/n).
    """
    pelletizing, passed_kg_s = line.pelletizing, line.filter.dirt_passed_kg_s
    knives, cut_kg_s = pelletizing.knives, pelletizing.cut_kg_s
    if cut_kg_s <= 0.0 or not knives.length_mm > _NO_PELLETS_MM:
        return Truth()
    dirt_percent = 100.0 * passed_kg_s / cut_kg_s
    stiffer = line.viscosity_factor / stiffness_of_mfr
    mfr = sheet.mfr[0].g_10min * stiffer ** (-1.0 / POLYMERS[sheet.polymer].exponent) if sheet.mfr else None
    return Truth(
        length_mm=knives.length_mm,
        mass_mg=knives.mass_mg,
        tails_percent=knives.tails_percent,
        agglomerates_percent=knives.agglomerates_percent,
        moisture_percent=pelletizing.dryer.moisture_percent,
        mfr_g_10min=float("nan") if mfr is None else mfr,
        ash_percent=_filler_percent(sheet) + dirt_percent,
        dirt_ppm=1.0e4 * dirt_percent,
    )


def _filler_percent(sheet: MaterialSheet) -> float:
    """Ash that no screen holds back."""
    return max(0.0, sheet.ash_percent - sheet.dirt_percent)
