"""What the screen had to let through on each square centimetre, and what it set against the melt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from process.rheology import power_law_pa_s, shift_factor
from process.screen import LEAST_DIE_BAR, normalised_dp_bar, pressure_index
from process.screen_flow import hole_shear_rate_per_s, resistance_per_m, specific_kg_h_cm2
from rules.review import Window
from trials.figures.figure import Figure
from trials.figures.measured import Measured, derived, missing, told
from trials.figures.pressures import DP, with_difference
from trials.figures.throughput import MELT, by_doser, flow_that_counts
from trials.figures.trace import Traces
from trials.figures.weighting import mean

DIE = "die.pressure.pv"


@dataclass(frozen=True, slots=True)
class ScreenInUse:
    """The screen of a trial.

    Attributes:
        area_cm2: active area; a ring where a shaft goes through (see ``process.screen_flow``).
        area_standard_cm2: its standard uncertainty.
        open_share, hole_um: holes as a share of the area, and their width; None when not told.
    """

    area_cm2: float
    area_standard_cm2: float = 0.0
    open_share: float | None = None
    hole_um: float | None = None


@dataclass(frozen=True, slots=True)
class Melt:
    """How the melt of a trial flows.

    Attributes:
        exponent, activation_j_mol: power-law exponent n, and how it thins with temperature.
        consistency, at_cel: K in Pa.s^n at a temperature; None when not told.
        density_kg_m3: of the melt.
        exponent_standard, activation_standard: standard uncertainties.
    """

    exponent: float
    activation_j_mol: float
    consistency: float | None = None
    at_cel: float = 190.0
    density_kg_m3: float | None = None
    exponent_standard: float = 0.0
    activation_standard: float = 0.0


@dataclass(frozen=True, slots=True)
class Reference:
    """The operating point that pressures are brought to, so that trials can be compared."""

    flow_kg_h: float
    melt_cel: float


def resistance_figures(
    traces: Traces,
    windows: Sequence[Window],
    *,
    screen: ScreenInUse | None = None,
    melt: Melt | None = None,
    reference: Reference | None = None,
    planned_kg_h: float | None = None,
) -> list[Figure]:
    """Specific throughput, pressure index, pressure difference at the reference, resistance of the screen."""
    whole = with_difference(traces)
    # The screen sees the feed, with its dirt.
    flow = flow_that_counts(by_doser(traces, windows), planned_kg_h)
    dp, die = mean(whole, DP, windows), mean(whole, DIE, windows)
    warm = mean(whole, MELT, windows)
    area = area_of(screen)
    index = derived(
        pressure_index,
        dp,
        die,
        otherwise=f"the die pressure is below {LEAST_DIE_BAR:g} bar",
    )
    return [
        Figure.of(
            "specific throughput of the screen",
            "kg/h/cm2",
            derived(specific_kg_h_cm2, flow, area, otherwise="the screen's area is not above zero"),
            windows,
            "Mean feed over the active area of the screen.",
        ),
        Figure.of(
            "pressure index",
            "%",
            index,
            windows,
            "Mean pressure difference over mean die pressure: a stiffer melt moves both, a loaded screen "
            "moves the first.",
        ),
        Figure.of(
            "pressure difference at the reference",
            "bar",
            at_reference(dp, flow, warm, melt, reference),
            windows,
            "Mean pressure difference, brought to the reference throughput and melt temperature by the "
            "melt's power law.",
        ),
        Figure.of(
            "resistance of the screen",
            "/m",
            _resistance(dp, flow, warm, area, screen, melt),
            windows,
            "Pressure difference times area over apparent viscosity in the holes and volume flow; for "
            "comparison only, since the viscosity is apparent.",
        ),
    ]


def area_of(screen: ScreenInUse | None) -> Measured:
    """The screen's area, cm2."""
    if screen is None:
        return missing("the screen's area is not told")
    area = told(screen.area_cm2, "the screen's area", screen.area_standard_cm2)
    return area.unless(not area.value > 0, "the screen's area is not above zero")


def at_reference(
    dp: Measured, flow: Measured, warm: Measured, melt: Melt | None, reference: Reference | None
) -> Measured:
    """A pressure difference as it would be at the reference, bar."""
    if melt is None:
        return missing("the melt's power law is not told")
    if reference is None:
        return missing("no reference throughput and temperature are told")

    def normal(over: float, rate: float, cel: float, n: float, activation: float) -> float:
        shift = shift_factor(cel, reference.melt_cel, activation)
        return normalised_dp_bar(over, rate, reference.flow_kg_h, shift, n)

    return derived(
        normal,
        dp,
        flow,
        warm,
        told(melt.exponent, "the melt's power-law exponent", melt.exponent_standard),
        told(melt.activation_j_mol, "the melt's activation energy", melt.activation_standard),
    )


def _resistance(
    dp: Measured,
    flow: Measured,
    warm: Measured,
    area: Measured,
    screen: ScreenInUse | None,
    melt: Melt | None,
) -> Measured:
    holes = screen is not None and screen.open_share is not None and screen.hole_um is not None
    if not holes or screen is None:
        return missing("the screen's holes are not told")
    if melt is None or melt.consistency is None or melt.density_kg_m3 is None:
        return missing("the melt's viscosity and density are not told")
    consistency, density = melt.consistency, melt.density_kg_m3
    open_share, hole_um = screen.open_share or 0.0, screen.hole_um or 0.0

    def resistance(over: float, rate: float, cel: float, cm2: float, n: float, activation: float) -> float:
        shear = hole_shear_rate_per_s(rate, density, cm2, open_share, hole_um)
        viscosity = power_law_pa_s(consistency, n, shear, shift_factor(cel, melt.at_cel, activation))
        return resistance_per_m(over, cm2, viscosity, rate, density)

    return derived(
        resistance,
        dp,
        flow,
        warm,
        area,
        told(melt.exponent, "the melt's power-law exponent", melt.exponent_standard),
        told(melt.activation_j_mol, "the melt's activation energy", melt.activation_standard),
        otherwise="the sizes of the screen's holes or the melt's density give no viscosity",
    )
