"""A short simulated day without faults: what its sensors show, and what really happened, second by second."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from historian.frame import NS
from process.cycles import Cycle, cycles_of
from simulator.batch import batch
from simulator.run import Run, published_tags
from simulator.scenarios.file import load_scenario
from trials.figures import Calibration, Trace
from trials.figures.cleaning import WIPER
from trials.figures.pressures import DP
from trials.figures.resistance import DIE

T0_NS = 1_800_000_000 * NS
START_S, STEADY_S, END_S = 6300, 6900, 11_400
SEED = 20323
GAUGES = "gauge calibrator"


@dataclass(frozen=True, slots=True)
class Truth:
    """What no sensor shows: one value a second from ``START_S`` on."""

    second: np.ndarray
    dp_bar: np.ndarray
    clean_bar: np.ndarray
    lasting_bar: np.ndarray
    wiping: np.ndarray
    discharged_kg: np.ndarray
    fed_kg: np.ndarray
    product_kg: np.ndarray


@dataclass(frozen=True, slots=True)
class Day:
    """Traces and cleanings of the day, and its truth."""

    seed: int
    area_cm2: float
    traces: Mapping[str, Trace]
    cycles: list[Cycle]
    truth: Truth


@cache
def day(seed: int = SEED) -> Day:
    """The day of this seed; the same object each time, so nothing may be changed in it."""
    scenario = replace(load_scenario("trial_day").without_faults(), seed=seed)
    tags = {t.path: replace(t, id=number) for number, t in enumerate(published_tags(scenario))}
    frames = list(batch(scenario, tags, T0_NS, START_S, END_S))
    number, time_ns, value = (
        np.concatenate([getattr(f, c) for f in frames]) for c in ("tag", "time_ns", "value")
    )
    order = np.lexsort((time_ns, number))
    cuts = np.searchsorted(number[order], np.arange(len(tags) + 1))
    traces = {
        path: Trace.of(path, time_ns[order][a:b], value[order][a:b], _calibration(path))
        for path, a, b in zip(tags, cuts[:-1].tolist(), cuts[1:].tolist(), strict=True)
    }
    second = T0_NS + np.arange(START_S, END_S, dtype=np.int64) * NS
    dp, wiper, die = (traces[path].at(second + NS // 2) for path in (DP, WIPER, DIE))
    run = Run(scenario)
    return Day(
        seed,
        run.plant.filter.screen.design.area_m2 * 1e4,
        traces,
        cycles_of(second, dp, wiper, die),
        _truth(run),
    )


def _calibration(path: str) -> Calibration:
    """As a register might say it; both gauges of the screen were checked against one calibrator."""
    if path.startswith(("filter.inlet.pressure", "filter.outlet.pressure")):
        return Calibration({path: 0.3, GAUGES: 0.2})
    return Calibration({path: 0.1}, {path: 0.002})


def _truth(run: Run) -> Truth:
    rows = []
    run.advance(START_S)
    while run.second < END_S:
        plant, screen = run.plant, run.plant.filter.screen
        rows.append(
            (
                run.second,
                plant.difference_bar,
                plant.difference_bar * screen.clean_1_m / screen.resistance_1_m(0.0),
                plant.difference_bar * screen.lasting_1_m / screen.resistance_1_m(0.0),
                plant.filter.state == 1,
                plant.filter.discharged_kg,
                run._melt_kg,
                plant.outlet.product_kg,
            )
        )
        run.advance(run.second + 1)
    return Truth(*np.array(rows, dtype=np.float64).T)
