"""What the screw is built like, and how its work is spread over its length."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp


@dataclass(frozen=True, slots=True, kw_only=True)
class ScrewDesign:
    """What the screw is built like.

    Attributes:
        reference_kg_h, reference_min: flow and speed at which its other figures are quoted.
        transit_s: time through the partly filled lumps.
        tip_transit_s: time through the last lump while nothing resists.
        lump_kg: what each partly filled lump holds at most.
        feed_litre: what the first lump holds at most of loose feed.
        full_kg: what the last lump would hold if the whole channel were filled with melt.
        vent_share: how much of that channel lies between tip and vent.
        litre_per_turn: drag flow of the filled length.
        back_up: b, in kg·(kg/s)/bar: filled mass times free drag flow for each bar, reference viscosity.
        film_kw: dissipated in the films at reference speed and temperature.
        work_share: of the polymer's specific work that goes into it in the partly filled lumps.
        work_speed: exponent of the specific work's rise with speed.
        work_thin: exponent of its rise when less passes at the same speed.
        loose_share: of the specific work that is missing until the bed has packed and its films stand.
        settling_s: time that takes after an empty start.
        pump_efficiency: of the filled length.
        steel_kj_k: heat capacity of the screw in each lump.
        steel_melt_kw_k: between screw and polymer, lump filled as at the reference state.
        steel_barrel_kw_k: between screw and barrel through films and air.
        throat_kg: what the throat holds before it is full up to the doser.

    common practice, no source: all.
    """

    reference_kg_h: float = 780.0
    reference_min: float = 95.0
    transit_s: float = 54.0
    tip_transit_s: float = 4.0
    lump_kg: float = 5.0
    feed_litre: float = 17.0
    full_kg: float = 7.5
    vent_share: float = 0.33
    litre_per_turn: float = 0.33
    back_up: float = 2.43e-3
    film_kw: float = 5.4
    work_share: float = 0.868
    work_speed: float = 0.35
    work_thin: float = 0.07
    loose_share: float = 0.27
    settling_s: float = 180.0
    pump_efficiency: float = 0.45
    steel_kj_k: float = 22.0
    steel_melt_kw_k: float = 0.40
    steel_barrel_kw_k: float = 0.010
    throat_kg: float = 12.0


def work_weights(lumps: int) -> tuple[float, ...]:
    """How the work is spread over the lumps, sum 1: most where the bed melts, after the first lump."""
    raw = [(place + 0.6) ** 1.5 * exp(-1.15 * place) for place in range(lumps)]
    total = sum(raw)
    return tuple(part / total for part in raw)


def film_weights(lumps: int) -> tuple[float, ...]:
    """How the films' heat is spread over the lumps, sum 1: little in the first, where there is no melt."""
    raw = [1.0 - exp(-1.5 * (place + 0.2)) for place in range(lumps)]
    total = sum(raw)
    return tuple(part / total for part in raw)
