"""The simulated doser: a screw under a hopper on a scale, which works out its rate from the loss in weight.

While the hopper is refilled the scale says nothing of the rate; the screw then turns by the feed factor that
was learnt before, and the rate that is shown is speed times that factor.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, pi, sin

from simulator.machines.account import Account
from simulator.machines.material import Material
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets

MODE_GRAVIMETRIC = 2
MODE_VOLUMETRIC = 3

# A bridged hopper lets this much less through at its worst, and not evenly.
_BRIDGE_SHARE = 0.45
_BRIDGE_ONSET_S = 20.0
_BRIDGE_BREAKS_S = 3.0
_BRIDGE_PERIOD_S = 40.0
_JUMP_SHARE = 0.15
_JUMP_SLOWER = 6.0
_EMPTY_TORQUE = 9.0
_JAM_TORQUE = 90.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DoserDesign:
    """What the doser is built like.

    Attributes:
        full_kg: weight that is shown as a level of 100 %, at ``full_density_kg_m3``.
        full_density_kg_m3: bulk density for which the level is scaled.
        start_kg: in the hopper at the start.
        low_percent, high_percent: levels between which a refill runs.
        refill_kg_s: while the refill valve is open.
        settle_s: after a refill, until the scale is believed again.
        litre_per_turn: of the screw.
        fastest_min: of the screw.
        faster_min_s: how fast its speed changes.
        window_s: lag of the rate that is worked out from the weight.
        learning_s: lag of the feed factor that is learnt.
        packing: how much denser a full hopper packs than a half full one.
        hall_s: time in which what lies in the hopper takes the temperature of the hall.
        rated_torque_percent: torque at 60 turns a minute with 290 kg/m3.

    common practice, no source: all.
    """

    full_kg: float = 280.0
    full_density_kg_m3: float = 290.0
    start_kg: float = 220.0
    low_percent: float = 25.0
    high_percent: float = 90.0
    refill_kg_s: float = 3.0
    settle_s: float = 20.0
    litre_per_turn: float = 0.75
    fastest_min: float = 120.0
    faster_min_s: float = 4.0
    window_s: float = 8.0
    learning_s: float = 40.0
    packing: float = 0.06
    hall_s: float = 7200.0
    rated_torque_percent: float = 34.0


class Doser:
    """The doser with its state.

    Attributes:
        setpoint_kg_h: what the operator wants.
        running: whether it was told to run in the last step.
        rate_kg_h: what falls into the extruder.
        shown_kg_h: what the loss in weight says.
        weight_kg: in the hopper.
        screw_min, screw_torque_percent: of the dosing screw.
        refilling: whether the refill valve is open.
        refill_open: whether there is anything to refill with.
        mode: 2 gravimetric, 3 volumetric.
        feed_factor: learnt, kg/h at one turn a minute.
        out_cel: of what falls into the extruder.
        supplied_kg: all refills.
    """

    __slots__ = (
        "_bridge",
        "_bridge_s",
        "_heat_kj_kg_k",
        "_settle_s",
        "account",
        "design",
        "feed_factor",
        "mode",
        "out_cel",
        "rate_kg_h",
        "refill_open",
        "refilling",
        "running",
        "screw_min",
        "screw_torque_percent",
        "setpoint_kg_h",
        "shown_kg_h",
        "supplied_kg",
        "weight_kg",
    )

    def __init__(self, design: DoserDesign, material: Material, *, start_cel: float) -> None:
        """Stand still with a hopper that was filled before the day began."""
        self.design = design
        self.setpoint_kg_h = 0.0
        self.running = False
        self.rate_kg_h = self.shown_kg_h = 0.0
        self.weight_kg = design.start_kg
        self.screw_min = self.screw_torque_percent = 0.0
        self.refilling = False
        self.refill_open = True
        self.mode = MODE_GRAVIMETRIC
        self.feed_factor = 0.06 * design.litre_per_turn * material.bulk_density_kg_m3
        self.out_cel = start_cel
        self.supplied_kg = 0.0
        self.account = Account()
        self._heat_kj_kg_k = material.polymer.solid_heat_kj_kg_k
        self._settle_s = 0.0
        self._bridge = 0.0
        self._bridge_s = 0.0

    @property
    def held_kg(self) -> float:
        """What is in the hopper."""
        return self.weight_kg

    @property
    def held_kj(self) -> float:
        """Heat in what is in the hopper; the water in it counts as if it were polymer."""
        return self.weight_kg * self._heat_kj_kg_k * self.out_cel

    @property
    def level_percent(self) -> float:
        """How full the hopper is, by weight."""
        return 100.0 * self.weight_kg / self.design.full_kg

    def step(
        self,
        dt_s: float,
        site: Site,
        upsets: Upsets,
        running: bool,
        material: Material,
        *,
        density_factor: float = 1.0,
        scale_factor: float = 1.0,
        blocked: bool = False,
    ) -> float:
        """Go on by one step and say what falls into the extruder, kg/s.

        Args:
            dt_s: length of the step.
            site: the hall.
            upsets: what is wrong.
            running: whether the screw may turn.
            material: what the hopper holds and is refilled with, of the polymer that it held at first.
            density_factor: of the bulk density at this moment, 1 on an even day.
            scale_factor: what really leaves the hopper, against what the scale says, 1 for a true scale.
            blocked: the throat below is full up to here.
        """
        self.running = running
        self._turn(dt_s, running)
        fall_kg_s = self._fall(dt_s, upsets, material, density_factor, blocked)
        filled_kg_s = self._refill(dt_s)
        self._weigh(dt_s, upsets, fall_kg_s / scale_factor)
        self._book(dt_s, site.ambient_cel, fall_kg_s, filled_kg_s)
        self._load(material, fall_kg_s, blocked)
        return fall_kg_s

    def _turn(self, dt_s: float, running: bool) -> None:
        design = self.design
        wanted_min = 0.0
        if running and self.setpoint_kg_h > 0.0:
            wanted_min = min(design.fastest_min, self.setpoint_kg_h / self.feed_factor)
        most = design.faster_min_s * dt_s * (1.0 if wanted_min > self.screw_min else 4.0)
        self.screw_min += max(-most, min(most, wanted_min - self.screw_min))

    def _fall(
        self, dt_s: float, upsets: Upsets, material: Material, density_factor: float, blocked: bool
    ) -> float:
        """What the screw brings, no more than there is and than gets through a bridge."""
        design = self.design
        packed = 1.0 + design.packing * (0.01 * self.level_percent - 0.5)
        density = material.bulk_density_kg_m3 * upsets.bulk_density_factor * density_factor * packed
        fall_kg_s = self.screw_min / 60.0 * 0.001 * design.litre_per_turn * density
        # A bridge grows, but breaks at once.
        lag_s = _BRIDGE_ONSET_S if upsets.feed_bridge > self._bridge else _BRIDGE_BREAKS_S
        self._bridge += (upsets.feed_bridge - self._bridge) * (1.0 - exp(-dt_s / lag_s))
        if self._bridge > 1e-3:
            # What comes through does not depend on how fast the screw below turns.
            self._bridge_s += dt_s
            uneven = 0.75 + 0.25 * sin(2.0 * pi * self._bridge_s / _BRIDGE_PERIOD_S)
            through = 1.0 - _BRIDGE_SHARE * self._bridge * uneven
            fall_kg_s = min(fall_kg_s, self.setpoint_kg_h / 3600.0 * through)
        else:
            self._bridge_s = 0.0
        if blocked:
            fall_kg_s = 0.0
        fall_kg_s = min(fall_kg_s, self.weight_kg / dt_s)
        self.rate_kg_h = 3600.0 * fall_kg_s
        return fall_kg_s

    def _refill(self, dt_s: float) -> float:
        design = self.design
        if not self.refill_open:
            self.refilling = False
        elif self.refilling:
            self.refilling = self.level_percent < design.high_percent
        else:
            self.refilling = self.level_percent < design.low_percent
        if self.refilling:
            self._settle_s = design.settle_s
            return design.refill_kg_s
        self._settle_s = max(0.0, self._settle_s - dt_s)
        return 0.0

    def _weigh(self, dt_s: float, upsets: Upsets, seen_kg_s: float) -> None:
        """Rate by loss in weight, and the feed factor that follows from it."""
        design = self.design
        blind = upsets.volumetric or self.refilling or self._settle_s > 0.0
        self.mode = MODE_VOLUMETRIC if blind else MODE_GRAVIMETRIC
        if blind:
            self.shown_kg_h = self.screw_min * self.feed_factor
            return
        self.shown_kg_h += (3600.0 * seen_kg_s - self.shown_kg_h) * (1.0 - exp(-dt_s / design.window_s))
        if self.screw_min > 2.0:
            seen = self.shown_kg_h / self.screw_min
            # A sudden lack is a disturbance, not another material: learn slowly, or the speed would run away.
            even = seen > (1.0 - _JUMP_SHARE) * self.feed_factor
            lag_s = design.learning_s if even else _JUMP_SLOWER * design.learning_s
            moved = self.feed_factor + (seen - self.feed_factor) * (1.0 - exp(-dt_s / lag_s))
            # A factor of nought would ask for any speed.
            self.feed_factor = max(0.2, moved)

    def _book(self, dt_s: float, hall_cel: float, fall_kg_s: float, filled_kg_s: float) -> None:
        heat = self._heat_kj_kg_k
        left_kg = fall_kg_s * dt_s
        left_kj = left_kg * heat * self.out_cel
        came_kg = filled_kg_s * dt_s
        came_kj = came_kg * heat * hall_cel
        hall_kj = (
            self.weight_kg
            * heat
            * (hall_cel - self.out_cel)
            * (1.0 - exp(-dt_s / self.design.hall_s))
            * max(0.0, 1.0 - left_kg / max(self.weight_kg, 1e-9))
        )
        held_kj = self.held_kj - left_kj + came_kj + hall_kj
        self.weight_kg += came_kg - left_kg
        self.supplied_kg += came_kg
        if self.weight_kg > 1e-6:
            self.out_cel = held_kj / (self.weight_kg * heat)
        self.account.took(came_kg, came_kj + hall_kj)
        self.account.gave(left_kg, left_kj)

    def _load(self, material: Material, fall_kg_s: float, blocked: bool) -> None:
        if self.screw_min < 0.1:
            self.screw_torque_percent = 0.0
            return
        if blocked:
            self.screw_torque_percent = _JAM_TORQUE
            return
        design = self.design
        turn_kg = 60.0 * fall_kg_s / self.screw_min
        full_kg = 0.001 * design.litre_per_turn * 290.0
        speed = 0.8 + 0.2 * self.screw_min / 60.0
        filling = design.rated_torque_percent - _EMPTY_TORQUE
        self.screw_torque_percent = _EMPTY_TORQUE + filling * speed * turn_kg / full_kg
