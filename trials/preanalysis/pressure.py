"""What pressure difference the melt flow rates let expect at a screen, with its range."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import nan

import numpy as np

from historian.units import quantity
from process.melt_index import wall_shear_rate_per_s, wall_stress_pa
from process.rheology import shift_factor
from process.screen_flow import CM2_PER_M2, PA_PER_BAR, hole_shear_rate_per_s
from rules.words import two_digits
from trials.figures.operating_point import Facts
from trials.forms.forms import measured
from trials.forms.measures import Of
from trials.preanalysis.check import Check, Verdict, held_to_most
from trials.preanalysis.limits import LineLimits
from trials.record.book import Book
from trials.record.entries import What

RATE_SCATTER = 0.07
RESISTANCE_SCATTER = 0.10
BEYOND_SCATTER = 0.20
"""Standard deviations of logarithms: of a melt flow rate, of a screen's resistance, and of the way from the
shear rates of the test to those of the holes. common practice, no source: all three."""
_DRAWS, _SEED = 20_000, 1
_CAUTION = (
    "Two melt flow rates at low shear stand for the melt in the holes, and an earlier screen for this one: "
    "the range is wide, and dirt is not in it."
)


@dataclass(frozen=True, slots=True)
class Rates:
    """Two melt flow rates at one temperature: (load in kg, g/10 min), the lower load first."""

    cel: float
    low: tuple[float, float]
    high: tuple[float, float]


def rates_of(book: Book) -> Rates | None:
    """The melt flow rates of the feed at two loads and one temperature; None: there are none."""
    points: dict[float, dict[float, float]] = {}
    for entry in (*book.all_of(What.PRE_ANALYSIS), *book.all_of(What.RESULT)):
        usual = Of.FEED if entry.what is What.PRE_ANALYSIS else Of.PELLETS
        if entry.data.get("what") != "melt-flow-rate" or str(entry.data.get("of", usual)) != Of.FEED:
            continue
        value, less = measured("melt-flow-rate", str(entry.data["value"]), Of.FEED)
        if not less:
            cel = round(quantity(str(entry.data["temperature"]), "Cel"), 3)
            points.setdefault(cel, {})[round(quantity(str(entry.data["load"]), "kg"), 6)] = value
    for cel, found in sorted(points.items()):
        low, high = min(found.items()), max(found.items())
        if high[0] > low[0] and high[1] > low[1]:
            return Rates(cel, low, high)
    return None


def screen_checks(
    book: Book, facts: Facts, melt_cel: float | None, dp_limit_bar: float | None, limits: LineLimits
) -> list[Check]:
    """The load of the screen, and the pressure difference that is expected of it.

    Args:
        facts: with planned throughput, screen and melt, as they are told.
        melt_cel: planned melt temperature; None: not told.
        dp_limit_bar: pressure difference that is the most; None: not told.
    """
    return [_load(facts, limits), _pressure(rates_of(book), facts, melt_cel, dp_limit_bar, limits)]


def expected_bar(
    rates: Rates, facts: Facts, melt_cel: float, resistance_per_m: float
) -> tuple[float, float, float]:
    """P5, P50 and P95 of the pressure difference; NaN where the facts give none.

    Source: process.rheology, process.screen_flow; the scatter stands above.
    """
    screen, melt, flow = facts.screen, facts.melt, facts.planned_kg_h
    if screen is None or melt is None or melt.density_kg_m3 is None or flow is None:
        return nan, nan, nan
    density = melt.density_kg_m3
    shear = hole_shear_rate_per_s(
        flow, density, screen.area_cm2, screen.open_share or 0.0, screen.hole_um or 0.0
    )
    a_t = shift_factor(melt_cel, rates.cel, melt.activation_j_mol)
    speed_m_s = flow / 3600 / density / (screen.area_cm2 / CM2_PER_M2)
    one, two, screens, way = np.random.default_rng(_SEED).standard_normal((4, _DRAWS))
    low = rates.low[1] * np.exp(RATE_SCATTER * one)
    high = rates.high[1] * np.exp(RATE_SCATTER * two)
    test_shear = low * wall_shear_rate_per_s(1.0, density)
    with np.errstate(all="ignore"):
        n = np.log(rates.high[0] / rates.low[0]) / np.log(high / low)
        viscosity = wall_stress_pa(rates.low[0]) / test_shear**n * a_t**n * shear ** (n - 1)
        off = np.exp(RESISTANCE_SCATTER * screens + BEYOND_SCATTER * way)
        found = viscosity * speed_m_s * resistance_per_m * off / PA_PER_BAR
    usable = found[(n > 0) & np.isfinite(found)]
    if len(usable) < _DRAWS / 2:
        return nan, nan, nan
    p5, p50, p95 = np.percentile(usable, [5, 50, 95])
    return float(p5), float(p50), float(p95)


def _load(facts: Facts, limits: LineLimits) -> Check:
    name, caution = (
        "load of the screen",
        "What a screen reaches depends on its dirt, which is not in this figure.",
    )
    if facts.planned_kg_h is None or facts.screen is None or not facts.screen.area_cm2 > 0:
        lacks = "no throughput is planned" if facts.planned_kg_h is None else "the screen's area is not told"
        return Check(
            name,
            Verdict.NOT_KNOWN,
            f"The load of the screen is not known: {lacks}.",
            caution,
            unit="kg/h/cm2",
        )
    value, limit = facts.planned_kg_h / facts.screen.area_cm2, limits.most_specific
    told = "no highest is told" if limit is None else f"the site's highest is {limit:.3g}"
    sentence = (
        f"{facts.planned_kg_h:.0f} kg/h on {facts.screen.area_cm2:.0f} cm² are {value:.3g} kg/h on each cm²; "
        f"{told}."
    )
    return Check(
        name, held_to_most(value, value, limit), sentence, caution, value, value, value, limit, "kg/h/cm2"
    )


def _pressure(
    rates: Rates | None,
    facts: Facts,
    melt_cel: float | None,
    limit: float | None,
    limits: LineLimits,
) -> Check:
    name = "pressure at the screen"
    lacks = _lacking(rates, facts, melt_cel, limits)
    low = middle = high = nan
    if not lacks and rates is not None and melt_cel is not None and limits.resistance is not None:
        low, middle, high = expected_bar(rates, facts, melt_cel, limits.resistance)
        lacks = "" if middle > 0 else "these values give no number"
    if lacks:
        sentence = f"Which pressure difference to expect is not known: {lacks}."
        return Check(name, Verdict.NOT_KNOWN, sentence, _CAUTION, unit="bar")
    told = "no highest is told" if limit is None else f"the highest is {limit:.3g} bar"
    flow = facts.planned_kg_h or 0.0
    sentence = (
        f"At {flow:.0f} kg/h and {melt_cel:.0f} °C about {two_digits(middle)} bar are expected, 90 % range "
        f"{two_digits(low)} to {two_digits(high)} bar; {told}."
    )
    return Check(name, held_to_most(low, high, limit), sentence, _CAUTION, middle, low, high, limit, "bar")


def _lacking(rates: Rates | None, facts: Facts, melt_cel: float | None, limits: LineLimits) -> str:
    """What is not told that the pressure needs; empty when all is."""
    screen = facts.screen
    wanted: Iterable[tuple[bool, str]] = (
        (
            rates is None,
            "melt flow rates at two loads and one temperature were not measured; they come before a trial",
        ),
        (facts.planned_kg_h is None, "no throughput is planned"),
        (
            screen is None or screen.open_share is None or screen.hole_um is None,
            "area, fineness and open share of the screen are not told",
        ),
        (facts.melt is None, "how the melt thins with temperature (activation_energy) is not told"),
        (facts.melt is not None and facts.melt.density_kg_m3 is None, "the density of the melt is not told"),
        (melt_cel is None, "no set-point of a temperature is planned"),
        (limits.resistance is None, "the resistance of such a screen, from an earlier trial, is not told"),
    )
    return "; ".join(why for lacks, why in wanted if lacks)
