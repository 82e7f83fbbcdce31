"""The simulated doser and extruder: feed, barrel zones, melt temperature, screw drive.

The numbers are of this size of machine: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, pi, sin

from simulator.heaters import BARREL_ZONE, HeatedZone, step_row
from simulator.melt import Polymer

ZONES = 5
# Set-points at which the specific work of the screw is quoted, zones 4 and 5.
_REFERENCE_BACK_CEL = 213.5
# Heat that the shearing leaves in each zone at the reference flow.
_SHEAR_KW = (0.090, 0.495, 0.765, 0.720, 0.630)
_COLDER_PER_ZONE_K = 12.0
_COLD_MELT_K = 60.0
_COLD_MELT_S = 180.0
_MELT_LAG_S = 150.0
_REST_LAG_S = 600.0
_FLOW_LAG_S = 6.0
_HOPPER_FULL_KG = 260.0
_HOPPER_LOW_KG = 70.0
_REFILL_KG_S = 3.0


@dataclass(frozen=True, slots=True)
class ExtruderDesign:
    """What the extruder is built like.

    Attributes:
        reference_kg_h: flow at which pressures, work and shear rates are quoted.
        rated_kw, rated_min: of the drive: power at its rated speed.
        efficiency: of drive and gear.
        rated_a: motor current at rated torque.
    """

    reference_kg_h: float = 780.0
    rated_kw: float = 290.0
    rated_min: float = 110.0
    efficiency: float = 0.92
    rated_a: float = 520.0


class Extruder:
    """Doser and extruder with their state.

    Attributes:
        zones: barrel zones, feed end first.
        feed_setpoint_kg_h, screw_setpoint_min: what the operator wants.
        enabled: whether the screw drive is on.
        flow_kg_h: melt that leaves the screw.
        melt_cel: melt at the screw tip, without the cold start.
        melt_on_s: how long melt has been flowing; −1: it does not.
        power_kw, torque_percent, energy_kwh: of the drive.
        hopper_kg, refilling: of the doser.
    """

    def __init__(
        self, design: ExtruderDesign, polymer: Polymer, *, start_cel: float, loss_factors: list[float]
    ) -> None:
        self.design = design
        self.polymer = polymer
        self.zones = [
            HeatedZone(BARREL_ZONE, start_cel=start_cel, setpoint_cel=sp, loss_factor=factor)
            for sp, factor in zip((150.0, 185.0, 205.0, 212.0, 215.0), loss_factors, strict=True)
        ]
        self.enabled = False
        self.feed_setpoint_kg_h = 0.0
        self.feed_kg_h = 0.0
        self.screw_setpoint_min = 0.0
        self.screw_min = 0.0
        self.screw_turn = 0.0
        self.flow_kg_h = 0.0
        self.melt_cel = start_cel
        self.melt_on_s = -1.0
        self.throat_cel = start_cel
        self.power_kw = 0.0
        self.torque_percent = 0.0
        self.energy_kwh = 0.0
        self.hopper_kg = 220.0
        self.refilling = False

    @property
    def flow_share(self) -> float:
        """Flow as a share of the reference flow."""
        return self.flow_kg_h / self.design.reference_kg_h

    @property
    def leaving_cel(self) -> float:
        """Temperature of the melt that leaves the screw: the first of it is colder."""
        if self.melt_on_s < 0.0:
            return self.melt_cel
        return self.melt_cel - _COLD_MELT_K * exp(-self.melt_on_s / _COLD_MELT_S)

    @property
    def ripple(self) -> float:
        """Beat of the screw flight, −1…1."""
        return sin(2.0 * pi * self.screw_turn) if self.flow_kg_h > 5.0 else 0.0

    @property
    def current_a(self) -> float:
        """Motor current: a magnetising part and one that follows the torque."""
        if self.screw_min < 1.0:
            return 0.0
        return self.design.rated_a * (0.25 + 0.75 * self.torque_percent / 100.0)

    def step(self, dt_s: float, ambient_cel: float, feed_drift: float, head_bar: float) -> None:
        """Go on by one step; ``feed_drift`` is the relative error of the doser."""
        self._feed(dt_s, feed_drift)
        self._heat(dt_s, ambient_cel)
        self._melt(dt_s, ambient_cel)
        self._drive(dt_s, head_bar)

    def _feed(self, dt_s: float, drift: float) -> None:
        wanted_min = self.screw_setpoint_min if self.enabled else 0.0
        self.screw_min += max(-6.0 * dt_s, min(3.0 * dt_s, wanted_min - self.screw_min))
        self.screw_turn = (self.screw_turn + self.screw_min * dt_s / 60.0) % 1.0
        feeding = self.enabled and self.screw_min > 5.0
        self.feed_kg_h = self.feed_setpoint_kg_h * (1.0 + drift) if feeding else 0.0
        self.flow_kg_h += (self.feed_kg_h - self.flow_kg_h) * dt_s / _FLOW_LAG_S
        if self.flow_kg_h < 5.0:
            if self.feed_kg_h == 0.0:
                self.flow_kg_h = 0.0
            self.melt_on_s = -1.0
        else:
            self.melt_on_s = self.melt_on_s + dt_s if self.melt_on_s >= 0.0 else 0.0
        self.hopper_kg -= self.feed_kg_h * dt_s / 3600.0
        if self.refilling:
            self.hopper_kg += _REFILL_KG_S * dt_s
        self.refilling = self.hopper_kg < (_HOPPER_FULL_KG if self.refilling else _HOPPER_LOW_KG)

    def _heat(self, dt_s: float, ambient_cel: float) -> None:
        share = self.flow_share
        gained = [0.0] * ZONES
        if self.melt_on_s >= 0.0:
            conductance = BARREL_ZONE.melt_kw_k
            for place, zone in enumerate(self.zones):
                seen = self.melt_cel - _COLDER_PER_ZONE_K * (ZONES - 1 - place)
                gained[place] = conductance * (seen - zone.true_cel) + _SHEAR_KW[place] * share
        step_row(self.zones, dt_s, ambient_cel, gained)
        throat = ambient_cel + 10.0 + 12.0 * share + 0.04 * (self.zones[0].true_cel - ambient_cel)
        self.throat_cel += (throat - self.throat_cel) * dt_s / 240.0

    def _specific_work_kwh_kg(self) -> float:
        polymer = self.polymer
        share = max(0.05, self.flow_share)
        stiffness: float = polymer.temperature_factor(self.melt_cel) * share ** (polymer.exponent - 1.0)
        work: float = polymer.drive_kwh_kg * stiffness**0.2
        return work

    def _melt(self, dt_s: float, ambient_cel: float) -> None:
        zones = self.zones
        if self.melt_on_s < 0.0:
            metal = (zones[2].true_cel + zones[3].true_cel + zones[4].true_cel) / 3.0
            self.melt_cel += (metal - self.melt_cel) * dt_s / _REST_LAG_S
            return
        polymer = self.polymer
        work_kj_kg = 0.86 * self._specific_work_kwh_kg() * 3600.0
        back_k = (zones[3].true_cel + zones[4].true_cel) / 2.0 - _REFERENCE_BACK_CEL
        steady = (
            ambient_cel + (work_kj_kg + 30.0 - polymer.melting_kj_kg) / polymer.heat_kj_kg_k + 0.35 * back_k
        )
        self.melt_cel += (steady - self.melt_cel) * dt_s / _MELT_LAG_S

    def _drive(self, dt_s: float, head_bar: float) -> None:
        design = self.design
        if self.screw_min < 1.0:
            self.power_kw = self.torque_percent = 0.0
            return
        pumped_kw = 0.15 * head_bar * 100.0 * self.flow_kg_h / 3600.0 / (self.polymer.density_kg_m3 * 0.35)
        self.power_kw = self._specific_work_kwh_kg() * self.flow_kg_h / design.efficiency + pumped_kw
        self.power_kw += 3.0 * self.screw_min / 95.0
        self.torque_percent = 100.0 * self.power_kw / (design.rated_kw * self.screw_min / design.rated_min)
        self.energy_kwh += self.power_kw * dt_s / 3600.0
