"""The knives in the cutting chamber: how fast, how hard and how well they cut, and how they wear."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, pi

from simulator.machines.account import Account
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets

CUTS_FROM_MIN = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class KnivesDesign:
    """What the cutter is built like.

    Attributes:
        knives: number of blades.
        setpoint_min, setpoint_bar: what the operator begins with.
        ramp_min_s: how fast the drive changes its speed.
        reference_kg_h, reference_bar: flow and contact pressure of the quoted torque.
        flow_torque, contact_torque, wear_torque: points of torque for these two and for full wear.
        run_in_torque, run_in_h: new blades cut harder by so many points, fading with this time.
        fill_s, leak_s: time constants of filling the cylinder, and of a leaking one.
        regulator_bar: the compressed air must be so much above the contact pressure.
        life_h: hours of contact at reference pressure and speed until the blades are worn out.
        reference_min: speed of that life.
        pellet_kg_m3: of the solid pellet.
        swell: the strand's area as a share of the hole's.
        warm_cel: return water at which lumps begin to be quoted: ``lumps_percent`` of the pellets.
        lumps_percent, lumps_k: so many pellets stick there, e times as many for each ``lumps_k`` more.
        rated_kw, rated_min: of the drive, at 100 % torque.

    The numbers are of this size of machine: common practice, no source.
    """

    knives: int = 4
    setpoint_min: float = 1607.0
    setpoint_bar: float = 3.2
    ramp_min_s: float = 60.0
    reference_kg_h: float = 780.0
    reference_bar: float = 3.2
    flow_torque: float = 30.0
    contact_torque: float = 12.0
    wear_torque: float = 22.0
    run_in_torque: float = 3.0
    run_in_h: float = 0.15
    fill_s: float = 5.0
    leak_s: float = 40.0
    regulator_bar: float = 0.3
    life_h: float = 400.0
    reference_min: float = 1607.0
    pellet_kg_m3: float = 920.0
    swell: float = 1.15
    warm_cel: float = 46.4
    lumps_percent: float = 0.1
    lumps_k: float = 1.8
    rated_kw: float = 7.5
    rated_min: float = 3000.0


class Knives:
    """The cutter with its state.

    Attributes:
        running: whether the operator wants it to turn.
        setpoint_min, speed_min: speed, wanted and real.
        setpoint_bar, pressure_bar: contact pressure, wanted and real.
        torque_percent, torque_noise_percent: of the drive; standard deviation of its noise.
        gap_mm: between blades and plate.
        hours: of this set of blades in contact.
        wear: 0 new, 1 worn out; with what a fault adds, hence up to 2.
        closed: whether the chamber's switch says closed; ``shut``: whether a person has closed the chamber.
        length_mm, mass_mg, volume_mm3: of a pellet.
        tails_percent, agglomerates_percent, fines_percent: share of the pellets' mass.
        power_kw, to_water_kw: electric; what the cutting heats the water with.
        account: electric energy; no mass: strands pass it.
    """

    __slots__ = (
        "_added_wear",
        "_drooled",
        "account",
        "agglomerates_percent",
        "closed",
        "design",
        "fines_percent",
        "gap_mm",
        "hours",
        "length_mm",
        "mass_mg",
        "own_wear",
        "power_kw",
        "pressure_bar",
        "running",
        "setpoint_bar",
        "setpoint_min",
        "shut",
        "speed_min",
        "tails_percent",
        "to_water_kw",
        "torque_noise_percent",
        "torque_percent",
        "volume_mm3",
    )

    def __init__(self, design: KnivesDesign, *, hours: float = 12.0) -> None:
        """Stand still with blades that have cut for ``hours``."""
        self.design = design
        self.running = False
        self.setpoint_min = design.setpoint_min
        self.setpoint_bar = design.setpoint_bar
        self.speed_min = self.pressure_bar = 0.0
        self.torque_percent = self.torque_noise_percent = 0.0
        self.gap_mm = 0.3
        self.hours = hours
        self.own_wear = min(1.0, hours / design.life_h)
        self._added_wear = 0.0
        self._drooled = 0.0
        self.shut = self.closed = True
        self.length_mm = self.mass_mg = self.volume_mm3 = 0.0
        self.tails_percent = self.agglomerates_percent = self.fines_percent = 0.0
        self.power_kw = self.to_water_kw = 0.0
        self.account = Account()

    @property
    def wear(self) -> float:
        """Ordinary wear and what a fault has added."""
        return self.own_wear + self._added_wear

    @property
    def cutting(self) -> bool:
        """Whether the blades turn fast enough, in a closed chamber, to make pellets."""
        return self.closed and self.speed_min > CUTS_FROM_MIN

    @property
    def held_kg(self) -> float:
        """Nothing."""
        return 0.0

    @property
    def held_kj(self) -> float:
        """Nothing."""
        return 0.0

    def change(self, *, hours: float = 0.0) -> None:
        """Fit a set of blades that has cut for ``hours``."""
        self.hours = hours
        self.own_wear = min(1.0, hours / self.design.life_h)

    def step(
        self,
        dt_s: float,
        site: Site,
        upsets: Upsets,
        in_kg_s: float,
        holes: int,
        hole_mm: float,
        open_holes: float,
        return_cel: float,
        water_share: float,
    ) -> None:
        """Go on by one step.

        Args:
            dt_s: length of the step.
            site: the hall.
            upsets: what is wrong.
            in_kg_s: melt that leaves the die.
            holes, hole_mm, open_holes: of the die; the last as a share, 0–1.
            return_cel: water that carries the pellets off.
            water_share: its flow as a share of the designed one.
        """
        self.closed = self.shut and not upsets.chamber_open
        self._added_wear = upsets.knife_wear
        self._turn(dt_s, upsets.knife_speed_error)
        self._press(dt_s, site.air_bar, upsets.knife_pressure_loss)
        self._cut(in_kg_s, holes, hole_mm, open_holes)
        flow = in_kg_s * 3600.0 / self.design.reference_kg_h
        self._drive(dt_s, flow, upsets.die_drool)
        self._judge(dt_s, open_holes, return_cel, water_share, upsets.die_drool)

    def _turn(self, dt_s: float, speed_error: float) -> None:
        wanted = self.setpoint_min * (1.0 + speed_error) if self.running and self.closed else 0.0
        limit = self.design.ramp_min_s * dt_s
        self.speed_min += max(-limit, min(limit, wanted - self.speed_min))

    def _press(self, dt_s: float, air_bar: float, loss: float) -> None:
        """Air fills the cylinder fast and leaks out of it slowly; without enough air there is less."""
        design = self.design
        wanted = min(self.setpoint_bar, max(0.0, air_bar - design.regulator_bar)) if self.running else 0.0
        wanted *= 1.0 - loss
        leaking = loss > 0.0 and self.running and wanted < self.pressure_bar
        lag_s = design.leak_s if leaking else design.fill_s
        self.pressure_bar = wanted + (self.pressure_bar - wanted) * exp(-dt_s / lag_s)

    def _cut(self, in_kg_s: float, holes: int, hole_mm: float, open_holes: float) -> None:
        """Pellets follow from the flow: each passing blade cuts each open strand once.

        Source: conservation of mass, m = Q/(N_open·z·n), V = m/ρ, L = V/(A·s).
        """
        if in_kg_s <= 0.0 or not self.cutting:
            self.length_mm = self.mass_mg = self.volume_mm3 = 0.0
            return
        design = self.design
        cuts_s = holes * open_holes * design.knives * self.speed_min / 60.0
        self.mass_mg = 1e6 * in_kg_s / cuts_s
        self.volume_mm3 = 1e3 * self.mass_mg / design.pellet_kg_m3
        self.length_mm = self.volume_mm3 / (0.25 * pi * hole_mm * hole_mm * design.swell)

    def _drive(self, dt_s: float, flow: float, drool: float) -> None:
        design = self.design
        contact = self.pressure_bar / design.reference_bar
        if self.speed_min < 1.0:
            self.torque_percent = self.torque_noise_percent = 0.0
            self.power_kw = self.to_water_kw = 0.0
        else:
            run_in = design.run_in_torque * exp(-self.hours / design.run_in_h)
            at_work = min(1.0, contact)
            self.torque_percent = (
                design.flow_torque * flow
                + design.contact_torque * contact
                + (design.wear_torque * self.wear + run_in) * at_work
            )
            # Smeared melt catches the blades unevenly.
            self.torque_noise_percent = 1.0 + 1.6 * drool
            turning = self.speed_min / design.rated_min
            shaft_kw = 0.01 * self.torque_percent * design.rated_kw * turning
            # Losses of the motor: one part always, one with the load.
            self.power_kw = shaft_kw / 0.9 + 0.3 * turning
            self.to_water_kw = shaft_kw
            turned_h = dt_s / 3600.0 if contact > 0.05 else 0.0
            self.hours += turned_h
            strain = contact * self.speed_min / design.reference_min
            self.own_wear = min(1.0, self.own_wear + turned_h * strain / design.life_h)
        self.account.took(0.0, self.power_kw * dt_s)
        self.account.gave(0.0, self.power_kw * dt_s)

    def _judge(
        self, dt_s: float, open_holes: float, return_cel: float, water_share: float, drool: float
    ) -> None:
        """What the pellets look like: tails of blunt or lifted blades, lumps of warm water, fines."""
        design = self.design
        # Drool needs minutes to build up on the plate.
        self._drooled = drool + (self._drooled - drool) * exp(-dt_s / 240.0)
        if not self.cutting:
            self.gap_mm = 0.3
            self.tails_percent = self.agglomerates_percent = self.fines_percent = 0.0
            return
        contact = min(1.0, self.pressure_bar / max(0.1, min(self.setpoint_bar, design.reference_bar)))
        lifted = 1.0 - contact
        wear = min(1.0, max(0.0, self.wear - self._fresh_wear))
        self.gap_mm = min(0.3, 0.02 + 0.06 * wear + 0.22 * lifted)
        frozen = 1.0 - open_holes
        tails = 0.2 + 1.9 * wear + 30.0 * lifted * lifted + 3.0 * frozen + 0.6 * self._drooled
        self.tails_percent = min(100.0, tails)
        thin = max(0.05, water_share)
        stuck = design.lumps_percent * exp(min(12.0, (return_cel - design.warm_cel) / design.lumps_k))
        stuck = stuck / (thin * thin) + 1.5 * self._drooled
        stuck = min(100.0, stuck)
        self.agglomerates_percent += (stuck - self.agglomerates_percent) * (1.0 - exp(-dt_s / 10.0))
        self.fines_percent = 0.02 + 0.25 * wear + 0.3 * lifted + 0.1 * self._drooled

    @property
    def _fresh_wear(self) -> float:
        """Wear up to which blades still cut cleanly."""
        return 0.05
