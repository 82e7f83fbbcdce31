"""The centrifugal dryer: what its rotor draws, how dry and how warm the pellets leave, how it jams.

Casing and air inside are one volume: C·dT/dt = rotor work + heat from pellets − exhaust air − hall − its part
of the evaporation. Most of the water that the pellets drag in is spun off and runs back at once; only what
evaporates and what stays on the pellets counts here.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

from simulator.machines.account import Account
from simulator.machines.melt import Polymer
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.water_properties import WATER_HEAT_KJ_KG_K, vapour_kj_kg

AIR_HEAT_KJ_KG_K = 1.006


@dataclass(frozen=True, slots=True, kw_only=True)
class DryerDesign:
    """What the dryer is built like.

    Attributes:
        idle_a, load_a: current without pellets; more at ``reference_kg_h``.
        overload: how much more the load draws with the fault at its worst, share of it.
        backlog_a_kg: more for each kilogram that waits inside.
        trip_a, trip_s: the motor's overload relay opens above that current after that time.
        room_kg: pellets that find room inside; what comes then falls out in front.
        clear_kg_s: how fast a backlog is worked off.
        kw_per_a: electric power for a current; ``shaft_share`` of it heats what is inside.
        speed_min, spin_s, slip_percent: of the rotor, its time constant, and how much slower at full load.
        drag_share, settled_share: surface water after dewatering; what never leaves.
        rate_1_s, time_s: of drying at ``warm_cel`` and full speed; time inside.
        warm_cel, warm_k: pellets e times as slow to dry for each ``warm_k`` below ``warm_cel``.
        thick_share: how much of the time inside is missing with the fault at its worst.
        flash_share: part of the pellets' heat above ``flash_cel`` that evaporates water.
        from_pellets: part of the heat of evaporation that comes from the pellets; the casing gives the rest.
        exchange_share: part of the way to the casing's temperature that the pellets go.
        casing_kj_k, air_kg_s, hall_kw_k: heat capacity, exhaust air, loss.
        vibration_mm_s, vibration_load, vibration_fault, vibration_kg: running empty; more at reference flow,
            with the fault, for each kilogram of backlog.

    The numbers are of this size of machine: common practice, no source.
    """

    reference_kg_h: float = 780.0
    idle_a: float = 9.5
    load_a: float = 5.5
    overload: float = 0.5
    backlog_a_kg: float = 2.5
    trip_a: float = 26.0
    trip_s: float = 3.0
    room_kg: float = 25.0
    clear_kg_s: float = 0.08
    kw_per_a: float = 0.6
    shaft_share: float = 0.85
    speed_min: float = 1200.0
    spin_s: float = 6.0
    slip_percent: float = 3.0
    drag_share: float = 0.15
    settled_share: float = 0.0004
    rate_1_s: float = 0.9
    time_s: float = 6.5
    warm_cel: float = 60.0
    warm_k: float = 40.0
    thick_share: float = 0.3
    flash_share: float = 0.3
    flash_cel: float = 40.0
    from_pellets: float = 0.6
    exchange_share: float = 0.35
    casing_kj_k: float = 80.0
    air_kg_s: float = 0.35
    hall_kw_k: float = 0.03
    vibration_mm_s: float = 1.4
    vibration_load: float = 0.8
    vibration_fault: float = 3.0
    vibration_kg: float = 0.4


class Dryer:
    """The dryer with its state.

    Attributes:
        running: whether the operator wants it to turn.
        speed_min, current_a, power_kw, vibration_mm_s: of the rotor.
        tripped: whether the overload relay has opened; switching off and on closes it.
        exhaust_cel: air that leaves, and the casing.
        moisture_percent: surface water of the pellets that leave, by mass.
        pellet_cel, pellet_kj_kg, out_kg_s: pellets that leave; without the water on them.
        backlog_kg: pellets that wait inside.
        spilled_kg: pellets that fell out in front or were taken out since the start.
        dragged_kg: water of the ring that came in for good in the last step: evaporated, or on the pellets.
        evaporated_kg, carried_kg: since the start.
        lost_kw: to exhaust air and hall in the last step, the motor's losses included, the vapour not.
        account: pellets and that water.
    """

    __slots__ = (
        "_backlog_kj",
        "_over_s",
        "account",
        "backlog_kg",
        "carried_kg",
        "current_a",
        "design",
        "dragged_kg",
        "evaporated_kg",
        "exhaust_cel",
        "lost_kw",
        "moisture_percent",
        "out_kg_s",
        "pellet_cel",
        "pellet_kj_kg",
        "power_kw",
        "running",
        "speed_min",
        "spilled_kg",
        "tripped",
        "vibration_mm_s",
    )

    def __init__(self, design: DryerDesign, *, start_cel: float) -> None:
        self.design = design
        self.running = False
        self.tripped = False
        self.speed_min = self.current_a = self.power_kw = self.vibration_mm_s = 0.0
        self.exhaust_cel = self.pellet_cel = start_cel
        self.moisture_percent = 0.0
        self.pellet_kj_kg = self.out_kg_s = self.lost_kw = 0.0
        self.backlog_kg = self._backlog_kj = 0.0
        self.spilled_kg = self.dragged_kg = self.evaporated_kg = self.carried_kg = 0.0
        self._over_s = 0.0
        self.account = Account()

    @property
    def held_kg(self) -> float:
        """Pellets that wait inside."""
        return self.backlog_kg

    @property
    def held_kj(self) -> float:
        """Heat in them and in the casing."""
        return self._backlog_kj + self.design.casing_kj_k * self.exhaust_cel

    def clear(self) -> None:
        """A person takes out what waits inside."""
        mass_kg = self.backlog_kg
        self.account.gave(mass_kg, self._take_backlog(mass_kg))
        self.spilled_kg += mass_kg

    def step(
        self,
        dt_s: float,
        site: Site,
        upsets: Upsets,
        polymer: Polymer,
        in_kg_s: float,
        in_kj_kg: float,
        water_cel: float,
    ) -> None:
        """Go on by one step.

        Args:
            dt_s: length of the step.
            site: the hall.
            upsets: what is wrong.
            polymer: of the pellets.
            in_kg_s, in_kj_kg: pellets that arrive, without the water on them.
            water_cel: of the water on them.
        """
        self._turn(dt_s, site.mains_share)
        mass_kg, energy_kj = self._pass(dt_s, upsets.dryer_jam, in_kg_s, in_kj_kg)
        share = mass_kg * 3600.0 / (dt_s * self.design.reference_kg_h)
        self._draw(dt_s, share, upsets)
        self._dry(dt_s, site, upsets.dryer_load, polymer, mass_kg, energy_kj, water_cel)

    @property
    def _turning(self) -> float:
        return self.speed_min / self.design.speed_min

    def _turn(self, dt_s: float, mains_share: float) -> None:
        design = self.design
        if not self.running:
            self.tripped = False
        on = self.running and not self.tripped and mains_share > 0.5
        load = max(0.0, self.current_a - design.idle_a) / design.load_a
        wanted = design.speed_min * (1.0 - 0.01 * design.slip_percent * min(3.0, load)) if on else 0.0
        self.speed_min = wanted + (self.speed_min - wanted) * exp(-dt_s / design.spin_s)

    def _pass(self, dt_s: float, jam: float, in_kg_s: float, in_kj_kg: float) -> tuple[float, float]:
        """Pellets that leave in this step, and their heat; the rest waits, or falls out for want of room."""
        mass_kg = in_kg_s * dt_s
        self.account.took(mass_kg, mass_kg * in_kj_kg)
        lifting = 1.0 if self._turning > 0.5 else 0.0
        through = (1.0 - jam) * lifting
        out_kg, out_kj = mass_kg * through, mass_kg * through * in_kj_kg
        self.backlog_kg += mass_kg - out_kg
        self._backlog_kj += mass_kg * in_kj_kg - out_kj
        if self.backlog_kg > 0.0:
            worked_kg = min(self.backlog_kg, self.design.clear_kg_s * through * dt_s)
            out_kj += self._take_backlog(worked_kg)
            out_kg += worked_kg
            over_kg = self.backlog_kg - self.design.room_kg
            if over_kg > 0.0:
                self.account.gave(over_kg, self._take_backlog(over_kg))
                self.spilled_kg += over_kg
        return out_kg, out_kj

    def _take_backlog(self, mass_kg: float) -> float:
        """Take pellets out of what waits; their heat, kJ."""
        if mass_kg >= self.backlog_kg:
            energy_kj, self.backlog_kg, self._backlog_kj = self._backlog_kj, 0.0, 0.0
            return energy_kj
        energy_kj = self._backlog_kj * mass_kg / self.backlog_kg
        self.backlog_kg -= mass_kg
        self._backlog_kj -= energy_kj
        return energy_kj

    def _draw(self, dt_s: float, share: float, upsets: Upsets) -> None:
        """Current of the rotor; its relay opens when it stays too high."""
        design = self.design
        if self.tripped or not self.running:
            self.current_a = self.power_kw = self._over_s = 0.0
        else:
            load_a = design.load_a * share * (1.0 + design.overload * upsets.dryer_load)
            wanted_a = design.idle_a + load_a + design.backlog_a_kg * self.backlog_kg
            # The pellets spread along the rotor within a few seconds.
            self.current_a = wanted_a + (self.current_a - wanted_a) * exp(-dt_s / 2.0)
            self.power_kw = design.kw_per_a * self.current_a
            self._over_s = self._over_s + dt_s if self.current_a > design.trip_a else 0.0
            self.tripped = self._over_s >= design.trip_s
        shaken = design.vibration_load * share + design.vibration_fault * upsets.dryer_load * min(1.0, share)
        shaken += design.vibration_kg * self.backlog_kg
        self.vibration_mm_s = self._turning * (design.vibration_mm_s + shaken)

    def _dry(
        self,
        dt_s: float,
        site: Site,
        overload: float,
        polymer: Polymer,
        mass_kg: float,
        energy_kj: float,
        water_cel: float,
    ) -> None:
        """Heat and water of the pellets that pass, and of casing and air."""
        design, account = self.design, self.account
        casing_cel = self.exhaust_cel
        latent_kj_kg = vapour_kj_kg(casing_cel) - WATER_HEAT_KJ_KG_K * water_cel
        vapour_kg = carried_kg = from_pellets_kj = from_casing_kj = given_kj = 0.0
        if mass_kg > 0.0:
            arrives_cel = polymer.cel_on_the_way(energy_kj / mass_kg)
            left = self._left_share(arrives_cel, overload)
            carried_kg = mass_kg * left
            heat_kj_k = mass_kg * polymer.solid_heat_kj_kg_k
            flash_kj = design.flash_share * heat_kj_k * max(0.0, arrives_cel - design.flash_cel)
            # A thicker layer of pellets keeps more water that the warm air then has to dry off.
            wanted_kg = flash_kj / (design.from_pellets * latent_kj_kg) * (1.0 + 0.5 * overload)
            vapour_kg = min(wanted_kg, mass_kg * design.drag_share - carried_kg)
            from_pellets_kj = min(flash_kj, design.from_pellets * vapour_kg * latent_kj_kg)
            from_casing_kj = vapour_kg * latent_kj_kg - from_pellets_kj
            cooled_cel = arrives_cel - from_pellets_kj / heat_kj_k
            given_kj = design.exchange_share * heat_kj_k * (cooled_cel - casing_cel)
            energy_kj -= from_pellets_kj + given_kj
            self.pellet_kj_kg = energy_kj / mass_kg
            self.pellet_cel = polymer.cel_on_the_way(self.pellet_kj_kg)
            self.moisture_percent = 100.0 * left
        self.out_kg_s = mass_kg / dt_s
        self.dragged_kg = vapour_kg + carried_kg
        self.evaporated_kg += vapour_kg
        self.carried_kg += carried_kg
        shaft_kj = design.shaft_share * self.power_kw * dt_s
        moved = 0.1 + 0.9 * self._turning
        air_kj = design.air_kg_s * moved * AIR_HEAT_KJ_KG_K * (casing_cel - site.ambient_cel) * dt_s
        hall_kj = design.hall_kw_k * (casing_cel - site.ambient_cel) * dt_s
        self.exhaust_cel += (shaft_kj + given_kj - from_casing_kj - air_kj - hall_kj) / design.casing_kj_k
        # The water comes in and, on the pellets, goes out at the ring's temperature.
        water_kj = WATER_HEAT_KJ_KG_K * water_cel
        account.took(self.dragged_kg, self.dragged_kg * water_kj + self.power_kw * dt_s)
        account.gave(carried_kg + mass_kg, carried_kg * water_kj + energy_kj)
        lost_kj = air_kj + hall_kj + self.power_kw * dt_s - shaft_kj
        self.lost_kw = lost_kj / dt_s
        account.gave(vapour_kg, vapour_kg * vapour_kj_kg(casing_cel) + lost_kj)

    def _left_share(self, pellet_cel: float, overload: float) -> float:
        """Surface water that stays, as a share of the pellets.

        Source: first-order drying towards what never leaves, X = X_e + (X_0 − X_e)·e^(−k·t).
        """
        design = self.design
        turning = self._turning
        warmth = exp(min(0.15, (pellet_cel - design.warm_cel) / design.warm_k))
        rate_1_s = design.rate_1_s * warmth * turning * turning
        time_s = design.time_s * (1.0 - design.thick_share * overload)
        wet = design.drag_share - design.settled_share
        return design.settled_share + wet * exp(-rate_1_s * time_s)
