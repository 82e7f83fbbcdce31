"""The degassing vent: steam that leaves the melt, a water-ring pump that takes it away, melt that climbs up.

The pressure follows from a balance of volumes: what steam and leaking air take up at the pressure of the dome
is what the pump takes in. Gas in the dome is a few grams and is not counted in the balance of mass.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

from simulator.machines.melt import ZERO_CEL_K
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets

GAS_CONSTANT_J_MOL_K = 8.314462618
WATER_KG_MOL = 0.01801528
AIR_KG_MOL = 0.0289647
ATMOSPHERE_MBAR = 1013.25
PA_PER_MBAR = 100.0
# Air flows through a small hole at the speed of sound below this share of the pressure outside.
CHOKED_SHARE = 0.528


def steam_m3_kg(pressure_mbar: float, cel: float) -> float:
    """Volume of a kilogram of steam as an ideal gas, m³/kg; pressure absolute.

    Source: ideal gas, v = R·T/(M·p); 2 % too large for saturated steam at 1 bar, closer below.
    """
    return GAS_CONSTANT_J_MOL_K * (cel + ZERO_CEL_K) / (WATER_KG_MOL * PA_PER_MBAR * pressure_mbar)


def steam_kj_kg(cel: float) -> float:
    """Enthalpy of thin steam, counted from liquid water of 0 Cel.

    Source: 2501 kJ/kg of evaporation at 0 Cel and 1.86 kJ/(kg·K) of the vapour, as used for moist air.
    """
    return 2501.0 + 1.86 * cel


def saturation_mbar(cel: float) -> float:
    """Pressure of saturated steam over water between 0 and 60 Cel.

    Source: Magnus formula, 6.112·exp(17.62·t/(243.12 + t)) hPa.
    """
    return 6.112 * exp(17.62 * cel / (243.12 + cel))


@dataclass(frozen=True, slots=True, kw_only=True)
class VentDesign:
    """What the vent and its pump are built like.

    Attributes:
        pump_m3_h: what the pump takes in well above its lowest pressure.
        pump_water_k: how much warmer than the cooling water the pump's ring water is.
        volume_m3: of dome, pipe and separator.
        leak_kg_h, leak_more_kg_h: air that always leaks in; and with a leak at its worst.
        rate_1_s: how fast water leaves the melt under the vent.
        henry_per_mbar: water that melt keeps, share of its mass for each mbar in the dome.
        foam_from_share, foam_full_share: water left in the melt at which it begins to foam, and at which
            all of it foams.
        carry_kg_s: steam that begins to carry melt along.
        climb_kg_s: melt that climbs into the vent at the worst.
        plug_kg: melt in the dome that shuts the way to the pump.
        dome_kj_k, dome_melt_kw_k, dome_loss_kw_k: heat of the dome; from the melt below; to the hall.
        pump_idle_a, pump_load_a: motor current, and more of it at ``pump_load_w``.
        pump_load_w: flow of gas times pressure for which the current is quoted.
        pump_most_a: current that the motor is protected at.

    common practice, no source: all.
    """

    pump_m3_h: float = 122.0
    pump_water_k: float = 8.0
    volume_m3: float = 0.12
    leak_kg_h: float = 1.0
    leak_more_kg_h: float = 25.0
    rate_1_s: float = 0.54
    henry_per_mbar: float = 2.5e-6
    foam_from_share: float = 8.0e-4
    foam_full_share: float = 12.0e-4
    carry_kg_s: float = 0.0022
    climb_kg_s: float = 0.008
    plug_kg: float = 2.5
    dome_kj_k: float = 4.0
    dome_melt_kw_k: float = 0.004
    dome_loss_kw_k: float = 0.0040
    pump_idle_a: float = 5.0
    pump_load_a: float = 1.6
    pump_load_w: float = 200.0
    pump_most_a: float = 9.5


class Vent:
    """The vent with its state.

    Attributes:
        pressure_mbar: in the dome, absolute.
        dome_cel: of the dome's steel.
        pump_on: whether the vacuum pump runs.
        pump_current_a: of the vacuum pump.
        steam_kg_s: water that leaves the melt.
        melt_kg_s, melt_kg: melt that climbs into the dome, now and since it was last cleaned.
        climbing: how far the melt has climbed, 0–1.
        blocked_share: how far the way to the pump is shut, 0–1.
        foam_share: how far the melt foams that leaves the vent, 0–1.
    """

    __slots__ = (
        "blocked_share",
        "climbing",
        "design",
        "dome_cel",
        "foam_share",
        "melt_kg",
        "melt_kg_s",
        "pressure_mbar",
        "pump_current_a",
        "pump_on",
        "steam_kg_s",
    )

    def __init__(self, design: VentDesign, *, start_cel: float) -> None:
        """Stand still and full of air."""
        self.design = design
        self.pressure_mbar = ATMOSPHERE_MBAR
        self.dome_cel = start_cel
        self.pump_on = False
        self.pump_current_a = 0.0
        self.steam_kg_s = 0.0
        self.melt_kg_s = self.melt_kg = 0.0
        self.climbing = 0.0
        self.blocked_share = 0.0
        self.foam_share = 0.0

    @property
    def held_kj(self) -> float:
        """Heat in the dome."""
        return self.design.dome_kj_k * self.dome_cel

    def clean(self) -> None:
        """A person has taken the melt out of the dome."""
        self.melt_kg = 0.0
        self.blocked_share = 0.0

    def degas(self, dt_s: float, melt_kg: float, water_kg: float) -> float:
        """How much water leaves melt of that mass under the vent in this step, kg."""
        design = self.design
        kept_kg = design.henry_per_mbar * self.pressure_mbar * melt_kg
        free_kg = water_kg - kept_kg
        gone_kg = free_kg * (1.0 - exp(-design.rate_1_s * dt_s)) if free_kg > 0.0 else 0.0
        self.steam_kg_s = gone_kg / dt_s
        return gone_kg

    def foam(self, water_share: float) -> float:
        """How far melt with that share of water foams when its pressure goes, 0–1."""
        design = self.design
        span = design.foam_full_share - design.foam_from_share
        self.foam_share = min(1.0, max(0.0, (water_share - design.foam_from_share) / span))
        return self.foam_share

    def climb(self, dt_s: float, upsets: Upsets, reached: float, flow_kg_s: float) -> float:
        """How much melt leaves through the vent in this step, kg.

        Args:
            dt_s: length of the step.
            upsets: what is wrong.
            reached: how far the filled length of the screw has gone past the vent, 1 by a full turn or more.
            flow_kg_s: melt that passes below.
        """
        design = self.design
        carried = max(0.0, self.steam_kg_s / design.carry_kg_s - 1.0)
        climbing = min(1.0, max(upsets.vent_flow, reached, carried)) if flow_kg_s > 0.0 else 0.0
        self.climbing += (climbing - self.climbing) * (1.0 - exp(-dt_s / 20.0))
        self.melt_kg_s = min(design.climb_kg_s, 0.2 * flow_kg_s) * self.climbing
        gone_kg = self.melt_kg_s * dt_s
        self.melt_kg += gone_kg
        self.blocked_share = min(1.0, self.melt_kg / design.plug_kg)
        return gone_kg

    def step(self, dt_s: float, site: Site, upsets: Upsets, heat_kw: float) -> float:
        """Go on by one step with pressure and dome; say what heat the dome gave to the hall, kJ."""
        self._evacuate(dt_s, site, upsets)
        lost_kj = self.design.dome_loss_kw_k * (self.dome_cel - site.ambient_cel) * dt_s
        self.dome_cel += (heat_kw * dt_s - lost_kj) / self.design.dome_kj_k
        return lost_kj

    def heat_kw(self, melt_cel: float, melt_under: float) -> float:
        """What the dome gets from melt that covers that share of the place below, more if it climbs."""
        conductance = self.design.dome_melt_kw_k * melt_under * (1.0 + 0.35 * self.climbing)
        return conductance * (melt_cel - self.dome_cel)

    def _evacuate(self, dt_s: float, site: Site, upsets: Upsets) -> None:
        """Balance of gas in the dome, exactly over the step with the flows of its start."""
        design = self.design
        gas_cel = max(self.dome_cel, site.ambient_cel)
        energy_j_mol = GAS_CONSTANT_J_MOL_K * (gas_cel + ZERO_CEL_K)
        outside = self.pressure_mbar / ATMOSPHERE_MBAR
        choked = 1.0 if outside < CHOKED_SHARE else max(0.0, 1.0 - outside) / (1.0 - CHOKED_SHARE)
        air_kg_s = (design.leak_kg_h + design.leak_more_kg_h * upsets.vacuum_leak) / 3600.0 * choked
        gas_w = (self.steam_kg_s / WATER_KG_MOL + air_kg_s / AIR_KG_MOL) * energy_j_mol
        if not self.pump_on:
            # Without the pump the dome breathes: it is soon at the pressure of the hall.
            self.pressure_mbar += (ATMOSPHERE_MBAR - self.pressure_mbar) * (1.0 - exp(-dt_s / 30.0))
            self.pump_current_a = 0.0
            return
        lowest_mbar = saturation_mbar(site.cooling_water_cel + design.pump_water_k)
        open_m3_s = design.pump_m3_h / 3600.0 * (1.0 - 0.9 * self.blocked_share)
        rest_mbar = min(ATMOSPHERE_MBAR, lowest_mbar + gas_w / open_m3_s / PA_PER_MBAR)
        before_mbar = self.pressure_mbar
        share = exp(-dt_s * open_m3_s / design.volume_m3)
        self.pressure_mbar = rest_mbar + (before_mbar - rest_mbar) * share
        pumped_w = max(0.0, before_mbar - lowest_mbar) * PA_PER_MBAR * open_m3_s
        load: float = (pumped_w / design.pump_load_w) ** 0.7
        self.pump_current_a = min(design.pump_most_a, design.pump_idle_a + design.pump_load_a * load)
