"""Pairs of a trial on a small screen and a production line with another, both by the simulator's own filter.

The trial's filter is fed with bales that are not alike, its gauges are off by a little, and what a person
tells of the production material is off as well. The production line has a screen, a melt temperature and a
wiper that are not quite those of the trial. What its screen must measure so that it does as well as the trial
(pressure after a cleaning no higher, cleanings no closer) is found by trying.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import exp, log
from statistics import fmean

import numpy as np
from scipy.optimize import brentq

from process.scale_up import Saw
from simulator.machines.filter import FILM_FILTER
from simulator.machines.filter_design import FilterDesign
from simulator.machines.melt import POLYMERS, Polymer
from tests.simulator.machines.filter_bench import Bench
from trials.scale_up import Seen, Wanted

WARM_UP_S = 900
BALE_S, STEP_S, LONGEST_S = 900.0, 2.0, 16 * 3600.0
TRIAL_CM2, TRIAL_KG_H, TRIAL_DIRT, IN_CEL = 40.0, 26.5, 0.014, 221.0
LIMITED = replace(FILM_FILTER, longest_s=LONGEST_S, wiper=replace(FILM_FILTER.wiper, rest_share=0.0))
"""The pressure alone starts a cleaning, and nothing stays in the holes: a line is known after few cleanings."""


@dataclass(frozen=True, slots=True)
class Pair:
    """What the trial showed, what was asked, and what the production line really needs and does.

    Attributes:
        needed_cm2: smallest area at which it does as well as the trial.
        built_cm2: area of the line that was run, with its pressure after a cleaning and its period.
    """

    seen: Seen
    wanted: Wanted
    needed_cm2: float
    built_cm2: float
    after_bar: float
    period_s: float


def pair(seed: int, *, hours: float = 3.0) -> Pair:
    """One pair; the same for the same seed."""
    chance = np.random.default_rng(seed)

    def off(share: float) -> float:
        return exp(share * float(chance.standard_normal()))

    polymer = POLYMERS["LDPE"]
    polymer = replace(polymer, exponent=polymer.exponent + 0.03 * float(chance.standard_normal()))
    shown, count = _run_trial(_design(TRIAL_CM2, off(0.04), off(0.03)), polymer, chance, hours)
    seen = Seen(
        "a trial",
        (),
        TRIAL_KG_H / TRIAL_CM2 * off(0.05),
        None,
        TRIAL_CM2,
        110.0,
        Saw(shown.trough_bar, shown.peak_bar, shown.period_s, shown.wipe_s),
        polymer.exponent + 0.05 * float(chance.standard_normal()),
        hours * 3600 - WARM_UP_S,
        count,
    )
    stiffer, dirtier = chance.uniform(0.85, 1.3), chance.uniform(0.7, 1.6)
    wanted = Wanted.model_construct(
        throughput=TRIAL_KG_H * chance.uniform(2, 5),
        fineness=110.0,
        most_times=20.0,
        viscosity_ratio=stiffer * off(0.10),
        dirt_ratio=dirtier * off(0.15 if not seen.short else 0.30),
        exponent=None,
        interval=None,
        service_factor=1.0,
        most_specific=None,
        least_chance=95.0,
    )
    screen, cake = off(0.05), off(0.05)
    cel = IN_CEL + 2.0 * float(chance.standard_normal())
    stays = float(np.clip(chance.normal(0.94, 0.01), 0.9, 0.98))

    def line(area_cm2: float) -> Saw:
        design = _design(area_cm2, screen, cake)
        design = replace(design, wiper=replace(design.wiper, effectiveness=stays))
        bench = Bench(
            design, polymer, kg_h=wanted.throughput, in_cel=cel, dirt=dirtier * TRIAL_DIRT, dt_s=STEP_S
        )
        bench.upsets.viscosity_factor = stiffer
        while len(bench.cleanings) < 5 and bench.time_s < LONGEST_S:
            bench.run(60)
        return saw_of(bench, 2)

    needed = _smallest(line, shown, wanted.throughput / (TRIAL_KG_H / TRIAL_CM2))
    built = needed * chance.uniform(0.9, 1.5)
    does = line(built)
    return Pair(seen, wanted, needed, built, does.trough_bar, does.period_s)


def _smallest(line: Callable[[float], Saw], shown: Saw, guess_cm2: float) -> float:
    """The area at which the worse of pressure and interval is just that of the trial."""

    def short_by(log_area: float) -> float:
        saw = line(exp(log_area))
        if not saw.period_s > 0:
            return -1.0
        return min(log(shown.trough_bar / saw.trough_bar), log(saw.period_s / shown.period_s))

    return exp(float(brentq(short_by, log(0.4 * guess_cm2), log(3.0 * guess_cm2), xtol=0.005)))


def saw_of(bench: Bench, after: int) -> Saw:
    """Means over the cleanings after the first ones; a period of 0 where there is no pause."""
    some = bench.cleanings[after:]
    if len(some) < 2:
        return Saw(bench.sensed_bar, bench.filter.trigger_dp_bar, 0.0)
    return Saw(
        fmean(c.trough_bar for c in some),
        fmean(c.peak_bar for c in some),
        (some[-1].start_s - some[0].start_s) / (len(some) - 1),
        fmean(c.end_s - c.start_s for c in some),
    )


def _run_trial(
    design: FilterDesign, polymer: Polymer, chance: np.random.Generator, hours: float
) -> tuple[Saw, int]:
    """The trial with a bale after the other, each dirtier or cleaner by 15 %: its saw-tooth and its cleanings."""
    bench = Bench(design, polymer, kg_h=TRIAL_KG_H, in_cel=IN_CEL, dirt=TRIAL_DIRT, dt_s=STEP_S)
    bench.run(WARM_UP_S)
    first = len(bench.cleanings)
    while bench.time_s < hours * 3600:
        bench.dirt = TRIAL_DIRT * exp(0.15 * float(chance.standard_normal()))
        bench.run(BALE_S)
    return saw_of(bench, first), len(bench.cleanings) - first


def _design(area_cm2: float, thicker: float, cake: float) -> FilterDesign:
    """A filter of that area; what holds melt and what lets dirt out grow with it."""
    screen, outlet = LIMITED.screen, LIMITED.discharge
    larger = area_cm2 / (LIMITED.screen.area_m2 * 1e4)
    return replace(
        LIMITED,
        volume_l=LIMITED.volume_l * larger,
        discharge=replace(
            outlet, carry_kg=outlet.carry_kg * larger, meters_kg_s=4 * outlet.meters_kg_s * larger
        ),
        screen=replace(
            screen,
            area_m2=area_cm2 / 1e4,
            thickness_mm=screen.thickness_mm * thicker,
            cake_m_kg=screen.cake_m_kg * cake,
        ),
    )
