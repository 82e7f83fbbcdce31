"""How a partly filled screw holds, conveys, melts and heats the polymer: one lump under each barrel zone.

All lumps but the last are partly filled: the screw drags their content on, the faster the quicker it turns,
and a lump takes no more than its channel holds. The last lump is the filled length before the tip. Its drag
flow less its pressure flow is what leaves: q = q_drag − b·p/(η·m) with the filled mass m, so that the filled
length grows with the pressure at the head and shrinks with viscosity. It is solved for the end of the step
(a quadratic equation), which is stable and keeps mass exactly. Derived here.

The work of the screw goes into the polymer as it passes, into the film between flights and barrel (half of it
to each), and into pumping.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, sqrt

from simulator.machines.material import Material
from simulator.machines.melt import Polymer
from simulator.machines.screw_design import ScrewDesign, film_weights, work_weights
from simulator.machines.zones import Zone

# What the flights never scrape off, in each lump.
WETTING_KG = 0.05
# Work follows viscosity much less than in proportion: a stiffer melt makes a thicker film.
_WORK_BEND = 0.12
# A film that has set is torn, not sheared.
_SET_FILM = 4.0
# Less feed than a third of the usual has no further effect on the work in each kilogram.
_THINNEST = 3.0
# Filled by that share of the usual, the second lump has a bed that can pack.
_BED_SHARE = 0.2


class Screw:
    """The screw with what it holds.

    Attributes:
        mass_kg, heat_kj, water_kg: of each lump, feed end first; heat counts from solid polymer of 0 Cel.
        polymer_cel, steel_cel: of the polymer in each lump; of the screw there.
        throat_held_kg, throat_heat_kj, throat_water_kg: what stands in the throat and finds no room.
        flow_kg_s: melt that leaves the tip.
        out_kj_kg: heat in that melt, without flow work.
        passed_kg: what entered each lump in the last step.
        shaft_kj: work of the last step.
    """

    __slots__ = (
        "_film_weights",
        "_packed",
        "_work_weights",
        "design",
        "flow_kg_s",
        "heat_kj",
        "lumps",
        "mass_kg",
        "out_kj_kg",
        "passed_kg",
        "polymer",
        "polymer_cel",
        "shaft_kj",
        "steel_cel",
        "throat_heat_kj",
        "throat_held_kg",
        "throat_water_kg",
        "water_kg",
    )

    def __init__(self, design: ScrewDesign, polymer: Polymer, lumps: int, *, start_cel: float) -> None:
        """Stand still with what the last run left on the flights."""
        self.design = design
        self.polymer = polymer
        self.lumps = lumps
        start_kj_kg = polymer.enthalpy_on_the_way(start_cel)
        self.mass_kg = [WETTING_KG] * lumps
        self.heat_kj = [WETTING_KG * start_kj_kg] * lumps
        self.water_kg = [0.0] * lumps
        self.polymer_cel = [start_cel] * lumps
        self.steel_cel = [start_cel] * lumps
        self.passed_kg = [0.0] * lumps
        self.throat_held_kg = self.throat_heat_kj = self.throat_water_kg = 0.0
        self.flow_kg_s = 0.0
        self.out_kj_kg = start_kj_kg
        self.shaft_kj = 0.0
        self._packed = 0.0
        self._work_weights = work_weights(lumps)
        self._film_weights = film_weights(lumps)

    @property
    def held_kg(self) -> float:
        """Polymer, dirt and water in screw and throat."""
        return sum(self.mass_kg) + self.throat_held_kg

    @property
    def held_kj(self) -> float:
        """Heat in polymer and screw."""
        return sum(self.heat_kj) + self.throat_heat_kj + self.design.steel_kj_k * sum(self.steel_cel)

    @property
    def filled_share(self) -> float:
        """How full the whole channel is, 0–1."""
        design = self.design
        return sum(self.mass_kg) / (design.lump_kg * (self.lumps - 1) + design.full_kg)

    @property
    def backed_up_share(self) -> float:
        """How much of the channel is filled from the tip backwards, 0–1."""
        return (self.mass_kg[-1] - WETTING_KG) / self.design.full_kg

    @property
    def past_vent(self) -> float:
        """How far the filled length has gone past the vent, 1 by a tenth of the channel or more."""
        return min(1.0, max(0.0, (self.backed_up_share - self.design.vent_share) / 0.1))

    def convey(
        self,
        dt_s: float,
        screw_min: float,
        feed_kg: float,
        feed_kj: float,
        water_kg: float,
        material: Material,
        *,
        head_bar: float,
        stiffness: float,
        surge: float,
    ) -> float:
        """Move everything on by one step and say what leaves the tip, kg.

        Args:
            dt_s: length of the step.
            screw_min: speed of the screw.
            feed_kg, feed_kj, water_kg: what the doser dropped in this step, and the water in it.
            material: what that is.
            head_bar: pressure at the tip.
            stiffness: how much stiffer the melt is than the polymer's typical one.
            surge: relative change of what enters the filled length, about 0.
        """
        self.throat_held_kg += feed_kg
        self.throat_heat_kj += feed_kj
        self.throat_water_kg += water_kg
        design = self.design
        polymer = self.polymer
        speed = screw_min / design.reference_min
        last = self.lumps - 1
        moving = 1.0 - exp(-dt_s * speed * last / design.transit_s)
        into_tip_kg = self._hand_on(last - 1, last, moving * (1.0 + surge), 0.8 * design.full_kg)
        for place in range(last - 2, -1, -1):
            self._hand_on(place, place + 1, moving, design.lump_kg)
        self._draw_in(moving, material)
        out_kg = self._press(dt_s, speed, into_tip_kg, head_bar, stiffness, polymer)
        self.flow_kg_s = out_kg / dt_s
        return out_kg

    def _hand_on(self, place: int, after: int, moving: float, most_kg: float) -> float:
        """Move content of one lump to the next, as far as there is room."""
        mass_kg = self.mass_kg[place]
        moved_kg = (mass_kg - WETTING_KG) * moving
        room_kg = most_kg - self.mass_kg[after]
        moved_kg = min(moved_kg, room_kg)
        if moved_kg <= 0.0:
            self.passed_kg[after] = 0.0
            return 0.0
        share = moved_kg / mass_kg
        heat_kj = self.heat_kj[place] * share
        water_kg = self.water_kg[place] * share
        self.mass_kg[place] = mass_kg - moved_kg
        self.heat_kj[place] -= heat_kj
        self.water_kg[place] -= water_kg
        self.mass_kg[after] += moved_kg
        self.heat_kj[after] += heat_kj
        self.water_kg[after] += water_kg
        self.passed_kg[after] = moved_kg
        return moved_kg

    def _draw_in(self, moving: float, material: Material) -> None:
        """Take feed out of the throat: by volume, so light feed limits the screw."""
        design = self.design
        most_kg = min(design.lump_kg, 0.001 * design.feed_litre * material.bulk_density_kg_m3)
        moved_kg = min(self.throat_held_kg, most_kg * moving, most_kg - self.mass_kg[0])
        if moved_kg <= 0.0:
            self.passed_kg[0] = 0.0
            return
        share = moved_kg / self.throat_held_kg
        heat_kj = self.throat_heat_kj * share
        water_kg = self.throat_water_kg * share
        self.throat_held_kg -= moved_kg
        self.throat_heat_kj -= heat_kj
        self.throat_water_kg -= water_kg
        self.mass_kg[0] += moved_kg
        self.heat_kj[0] += heat_kj
        self.water_kg[0] += water_kg
        self.passed_kg[0] = moved_kg

    def _press(
        self,
        dt_s: float,
        speed: float,
        into_kg: float,
        head_bar: float,
        stiffness: float,
        polymer: Polymer,
    ) -> float:
        """What the filled length pushes out against the pressure at the head, kg."""
        design = self.design
        held_kg = self.mass_kg[-1]
        self.out_kj_kg = self.heat_kj[-1] / held_kg
        if speed <= 0.0:
            return 0.0
        tip_cel = max(polymer.melting_cel, self.polymer_cel[-1])
        drag_kg_s = (
            design.litre_per_turn
            * 0.001
            * polymer.density_kg_m3
            * (speed * design.reference_min / 60.0)
            * polymer.molten_share(self.out_kj_kg)
        )
        bend: float = speed ** (polymer.exponent - 1.0)
        relative = stiffness * polymer.temperature_factor(tip_cel) * bend
        back = design.back_up / relative * dt_s
        loose_kg = held_kg - WETTING_KG
        # The head answers a change of flow with p·n·Δq/q: without this the flow would hunt at small flows.
        usual_kg_s = max(self.flow_kg_s, into_kg / dt_s, 1e-6)
        slope = polymer.exponent * head_bar / usual_kg_s
        free = loose_kg - drag_kg_s * dt_s - back * slope / dt_s
        resists_bar = max(0.0, head_bar + slope * (loose_kg / dt_s - self.flow_kg_s))
        stays_kg = 0.5 * (free + sqrt(free * free + 4.0 * back * resists_bar))
        most_kg = loose_kg * (1.0 - exp(-dt_s * speed / design.tip_transit_s))
        out_kg = min(most_kg, max(0.0, loose_kg - stays_kg))
        share = out_kg / held_kg
        self.mass_kg[-1] = held_kg - out_kg
        self.heat_kj[-1] -= self.out_kj_kg * out_kg
        self.water_kg[-1] -= self.water_kg[-1] * share
        return out_kg

    def work(
        self,
        dt_s: float,
        screw_min: float,
        out_kg: float,
        head_bar: float,
        stiffness: float,
        zones: Sequence[Zone],
        gained_kw: list[float],
    ) -> None:
        """Put the work of the screw into the lumps and let them trade heat with barrel and screw.

        Args:
            dt_s: length of the step.
            screw_min: speed of the screw.
            out_kg: what left the tip in this step.
            head_bar: pressure at the tip.
            stiffness: how much stiffer the melt is than the polymer's typical one.
            zones: of the barrel, one for each lump.
            gained_kw: what each zone gets, written here, shape (lumps,).
        """
        design, polymer = self.design, self.polymer
        last = self.lumps - 1
        reference_kg = design.reference_kg_h / 3600.0 * dt_s
        usual_kg = design.reference_kg_h / 3600.0 * design.transit_s / last
        specific_kj_kg, film_kw = self._powers(dt_s, screw_min / design.reference_min, stiffness, usual_kg)
        pump_kj = polymer.flow_work_kj_kg(head_bar) * out_kg / design.pump_efficiency
        shaft_kj = pump_kj
        for place in range(last + 1):
            zone = zones[place]
            barrel_cel = zone.true_cel
            steel_cel = self.steel_cel[place]
            cel = self.polymer_cel[place]
            mass_kg = self.mass_kg[place]
            covered = min(1.0, mass_kg / usual_kg)
            to_barrel_kw = zone.design.melt_kw_k * covered * (cel - barrel_cel)
            to_steel_kw = design.steel_melt_kw_k * covered * (cel - steel_cel)
            across_kw = design.steel_barrel_kw_k * (steel_cel - barrel_cel)
            half_kw = 0.0
            if film_kw > 0.0:
                half_kw = 0.5 * film_kw * self._film_weights[place] * polymer.temperature_factor(barrel_cel)
                if barrel_cel < polymer.melting_cel:
                    half_kw *= _SET_FILM
            gained_kw[place] = to_barrel_kw + across_kw + half_kw
            self.steel_cel[place] = steel_cel + (to_steel_kw - across_kw + half_kw) * dt_s / design.steel_kj_k
            passed_kg = self.passed_kg[place]
            thin = min(_THINNEST, reference_kg / (passed_kg + 1e-9)) ** design.work_thin
            work_kj = self._work_weights[place] * specific_kj_kg * passed_kg * thin
            shaft_kj += work_kj + 2.0 * half_kw * dt_s
            heat_kj = self.heat_kj[place] + work_kj - (to_barrel_kw + to_steel_kw) * dt_s
            if place == last:
                heat_kj += pump_kj * (1.0 - design.pump_efficiency)
            self.heat_kj[place] = heat_kj
            self.polymer_cel[place] = polymer.cel_on_the_way(heat_kj / mass_kg)
        self.shaft_kj = shaft_kj

    def _powers(self, dt_s: float, speed: float, stiffness: float, usual_kg: float) -> tuple[float, float]:
        """Work in each kilogram that passes, and power in the films at the reference temperature."""
        if speed <= 0.0:
            return 0.0, 0.0
        design, polymer = self.design, self.polymer
        exponent = polymer.exponent
        tip_cel = max(polymer.melting_cel, self.polymer_cel[-1])
        relative = stiffness * polymer.temperature_factor(tip_cel) * speed ** (exponent - 1.0)
        bed = min(1.0, self.mass_kg[1] / (_BED_SHARE * usual_kg))
        self._packed += (bed - self._packed) * (1.0 - exp(-dt_s / design.settling_s))
        specific_kj_kg = polymer.drive_kwh_kg * 3600.0 * design.work_share
        specific_kj_kg *= relative**_WORK_BEND * speed**design.work_speed
        specific_kj_kg *= 1.0 - design.loose_share * (1.0 - self._packed)
        return specific_kj_kg, design.film_kw * stiffness * speed ** (1.0 + exponent)

    def take_water(self, place: int, water_kg: float, kj_kg: float) -> None:
        """Steam leaves a lump with that heat in each kilogram."""
        self.mass_kg[place] -= water_kg
        self.water_kg[place] -= water_kg
        self.heat_kj[place] -= water_kg * kj_kg

    def take_melt(self, place: int, mass_kg: float) -> float:
        """Melt leaves a lump by another way than the channel; says the heat in it, kJ."""
        share = mass_kg / self.mass_kg[place]
        heat_kj = self.heat_kj[place] * share
        self.mass_kg[place] -= mass_kg
        self.heat_kj[place] -= heat_kj
        self.water_kg[place] -= self.water_kg[place] * share
        return heat_kj
