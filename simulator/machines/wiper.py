"""The wiper of a melt filter: where it stands, how it turns, what weighs on its drive."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from math import exp

from simulator.machines.upsets import Upsets

_PARK_WINDOW_DEG = 5.0
# Torque at which the drive gives up, and what it shows then.
_LIMIT_PERCENT = 110.0
_SHOWN_AT_LIMIT_PERCENT = 100.0
_IDLE_PERCENT = 12.0
_INRUSH_PERCENT = 15.0
_INRUSH_S = 1.0
# A blade that slips still drags along a little of the dirt.
_SLIPPING_TAKES = 0.02


class WiperState(IntEnum):
    """What the wiper does; the numbers are those of the tag's code table."""

    PARKED = 0
    WIPING = 1
    JOGGING = 2
    FAULT = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class WiperDesign:
    """What the wiper is built like.

    Attributes:
        wipe_s, revs: how long a cleaning takes, and its turns.
        effectiveness: share of the load that a sharp blade takes away in a cleaning.
        rest_share: share that it presses into the holes for good.
        worn_effectiveness, worn_rest_factor: the same of a worn blade.
        jog_min, jog_revs: speed and turns when jogged by hand.
        continuous_min: speed when it never stops.
        run_up_s: time constant of speeding up.
        friction_percent, contact_percent: torque of the bearings, and of the blades at the designed contact.
        cake_percent: torque of a cake that holds back ``cake_reference_bar``.
        rated_kw, efficiency: of the drive.

    The numbers are of this size of machine: common practice, no source.
    """

    wipe_s: float = 22.0
    revs: float = 2.0
    effectiveness: float = 0.94
    rest_share: float = 0.0042
    worn_effectiveness: float = 0.55
    worn_rest_factor: float = 4.3
    jog_min: float = 2.0
    jog_revs: float = 1.0
    continuous_min: float = 0.5
    run_up_s: float = 0.4
    friction_percent: float = 17.0
    contact_percent: float = 10.0
    cake_percent: float = 22.0
    cake_reference_bar: float = 24.0
    rated_kw: float = 1.5
    efficiency: float = 0.75

    @property
    def wipe_min(self) -> float:
        """Speed of a cleaning once it has run up, turns a minute."""
        return 60.0 * self.revs / (self.wipe_s - self.run_up_s)


class Wiper:
    """The wiper with its state.

    Attributes:
        state: what it does.
        travel_deg: how far it has turned from park since its last rest; the angle is the rest of that.
        speed_min, torque_percent: of its drive.
        at_park: what the park sensor shows; passing by shows for one step.
        revs: turns since the screen change.
        power_kw: electric power of its drive.
        moving_s: since the command to turn; −1: none.
        failed: whether the last command was given up.
    """

    __slots__ = (
        "_goal_deg",
        "_held_for_dt_s",
        "_keep",
        "_still_s",
        "at_park",
        "design",
        "failed",
        "moving_s",
        "power_kw",
        "revs",
        "speed_min",
        "state",
        "torque_percent",
        "travel_deg",
    )

    def __init__(self, design: WiperDesign) -> None:
        self.design = design
        self.state = WiperState.PARKED
        self.travel_deg = 0.0
        self.speed_min = self.torque_percent = self.power_kw = 0.0
        self.at_park = True
        self.revs = 0.0
        self.moving_s = -1.0
        self.failed = False
        self._goal_deg = self._still_s = 0.0
        self._held_for_dt_s = self._keep = 0.0

    @property
    def angle_deg(self) -> float:
        """Where it stands, 0 ≤ angle < 360."""
        return self.travel_deg % 360.0

    @property
    def moving(self) -> bool:
        """Whether it is told to turn."""
        return self.moving_s >= 0.0

    def begin(self, turns: float, state: WiperState) -> None:
        """Tell it to turn so often and to rest at park then; an endless turn is ``float("inf")``."""
        self.state = state
        self.travel_deg %= 360.0
        if self.travel_deg > 180.0:
            self.travel_deg -= 360.0
        self._goal_deg = 360.0 * turns
        self.moving_s = self._still_s = 0.0
        self.failed = False

    def finish(self) -> None:
        """Let an endless turn end at the next park."""
        self._goal_deg = 360.0 * (self.travel_deg // 360.0 + 1.0)

    def takes(self, upsets: Upsets, contact_share: float) -> tuple[float, float]:
        """What a whole cleaning would do now: share of the load that it loosens, part of that which stays.

        A lighter contact wipes as if it turned less often.
        """
        design = self.design
        wear = upsets.blade_wear
        effect = design.effectiveness + (design.worn_effectiveness - design.effectiveness) * wear
        rest = design.rest_share * (1.0 + (design.worn_rest_factor - 1.0) * wear)
        if upsets.rest_share is not None:
            rest = upsets.rest_share
        if contact_share < 1.0:
            effect = 1.0 - (1.0 - effect) ** max(0.0, contact_share) ** 0.5
        effect *= 1.0 - (1.0 - _SLIPPING_TAKES) * upsets.wiper_slip
        both = min(0.99, effect + rest)
        return both, min(1.0, rest / both) if both > 0.0 else 0.0

    def step(self, dt_s: float, upsets: Upsets, load_percent: float) -> float:
        """Go on by one step.

        Args:
            dt_s: length of the step.
            upsets: what is wrong.
            load_percent: torque that blades, cake and cold steel ask for where it stands.

        Returns:
            turns that it made in this step.
        """
        if self.moving_s < 0.0:
            self.speed_min = self.torque_percent = self.power_kw = 0.0
            self.at_park = not upsets.park_sensor_dead and self._near_park(self.travel_deg)
            return 0.0
        design = self.design
        slip = upsets.wiper_slip
        load = load_percent + (_IDLE_PERCENT - load_percent) * slip
        stalled = upsets.wiper_stall or load > _LIMIT_PERCENT
        before_deg = self.travel_deg
        if stalled:
            self.speed_min = 0.0
            self._still_s += dt_s
            self.torque_percent = _SHOWN_AT_LIMIT_PERCENT
            moved_deg = 0.0
        else:
            moved_deg = self._turn(dt_s, upsets.park_miss_deg)
            inrush = _INRUSH_PERCENT * exp(-self.moving_s / _INRUSH_S) * (1.0 - slip)
            self.torque_percent = min(_SHOWN_AT_LIMIT_PERCENT, load + inrush)
        self.moving_s += dt_s
        share = self.torque_percent / 100.0 * max(0.2, self.speed_min / design.wipe_min)
        self.power_kw = design.rated_kw * share / design.efficiency
        self._see_park(upsets, before_deg, slip)
        self._rest_when_done(upsets.park_miss_deg)
        return moved_deg / 360.0

    def _turn(self, dt_s: float, miss_deg: float) -> float:
        design = self.design
        if dt_s != self._held_for_dt_s:
            self._held_for_dt_s = dt_s
            self._keep = exp(-dt_s / design.run_up_s)
        wanted = design.jog_min if self.state is WiperState.JOGGING else design.wipe_min
        if self._goal_deg == float("inf"):
            wanted = design.continuous_min
        gap = self.speed_min - wanted
        # Exact travel of a first-order run-up over the step.
        mean_min = wanted + gap * (1.0 - self._keep) * design.run_up_s / dt_s
        self.speed_min = wanted + gap * self._keep
        left_deg = max(0.0, self._goal_deg + miss_deg - self.travel_deg)
        moved_deg = min(6.0 * mean_min * dt_s, left_deg)
        self.travel_deg += moved_deg
        self.revs += moved_deg / 360.0
        return moved_deg

    def _see_park(self, upsets: Upsets, before_deg: float, slip: float) -> None:
        if upsets.park_sensor_dead:
            self.at_park = False
        elif slip < 0.5:
            # The sensor sits at the blade carrier: a blade that slips does not come by.
            passed = before_deg // 360.0 != self.travel_deg // 360.0
            self.at_park = passed or self._near_park(self.travel_deg)

    def _rest_when_done(self, miss_deg: float) -> None:
        arrived = self.travel_deg >= self._goal_deg + miss_deg - 1e-6
        # A drive that has stood against its limit for as long as a cleaning takes is switched off.
        late = self._still_s >= self.design.wipe_s - 1e-9
        if arrived or late:
            self.failed = not arrived
            self.state = WiperState.PARKED if arrived else WiperState.FAULT
            self.moving_s = -1.0
            self.speed_min = 0.0

    @staticmethod
    def _near_park(travel_deg: float) -> bool:
        angle = travel_deg % 360.0
        return angle <= _PARK_WINDOW_DEG or angle >= 360.0 - _PARK_WINDOW_DEG
