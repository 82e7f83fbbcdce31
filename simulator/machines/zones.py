"""Heated zones: steel with a heater in it, a lagging thermocouple, a time-proportioned controller.

Two lumps, derived here. Heater cartridge: C_e·dT_e/dt = P_on − G_e·(T_e − T). Steel round it:
C·dT/dt = G_e·(T_e − T) − UA·(T − T_hall) − cooling + G·Σ(T_neighbour − T) + what the melt gives.

The heater is switched: within each period of ten seconds it is on for the share that the controller asked
for when the period began. A step takes the part of its time that the heater was on, so energy is exact
whatever the step.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import exp

from simulator.machines.site import Site
from simulator.machines.upsets import ProbeState, Upsets, ZoneUpset
from simulator.machines.zone_design import (
    BARREL_ZONE,
    DIE_RING,
    DISCHARGE_BLOCK,
    FILTER_PLATE,
    PUMP_ZONE,
    ZoneDesign,
)

__all__ = [
    "BARREL_ZONE",
    "DIE_RING",
    "DISCHARGE_BLOCK",
    "FILTER_PLATE",
    "PUMP_ZONE",
    "Zone",
    "ZoneDesign",
    "step_ring",
    "step_row",
]

MODE_OFF = 1
MODE_AUTOMATIC = 2
MODE_OPEN_LOOP = 5

BREAK_UP_CEL = 1200.0
# A terminal box near a hot machine is a little warmer than the hall.
TERMINAL_BOX_K = 6.0
DETACHED_LAG_S = 180.0
DETACHED_LOW_SHARE = 0.12
DETACHED_ONSET_S = 240.0

_INTEGRAL_LOW = -0.3
_INTEGRAL_HIGH = 1.0
_COOLING_STARTS_K = 2.0
_COOLING_FULL_K = 8.0
# A tripped limiter closes again when the steel is well below its limit and a person has switched off.
_LIMITER_RESET_K = 20.0
# Phases of neighbours lie three seconds apart, so that not all heaters switch on together.
_STAGGER_S = 3.0


class Zone:
    """One zone with its state. ``true_cel`` and ``element_cel`` are hidden truth: no tag shows them.

    Attributes:
        name: front part of its tags, such as ``filter.plate.3``.
        true_cel, element_cel: the steel; the heater inside it.
        sensed_cel: what the controller and the tag get from the thermocouple.
        setpoint_cel: what the controller aims at.
        enabled: whether the controller works.
        taken_out: whether the operator has taken this zone out of use.
        manual_percent: heater output that a person set by hand, 0–100; None: the controller decides.
        duty: share of the running period in which the heater is on; ``cooling``: blower, 0–1.
        heat_kw, loss_kw, cool_kw: electric power, loss to the hall, and by the blower; means of a step.
        current_a: at the end of the last step: 0 in the off part of a period.
        on_current_a: while the heater was on, in this period or the last; 0 when it was not.
        limiter_open: whether the independent limiter has cut the heater.
        electric_kj: taken from the mains since the start.
        lost_kj: given to the hall since the start, the blower's part included.
    """

    __slots__ = (
        "_element_keep",
        "_held_for_dt_s",
        "_on_a_period",
        "_place_s",
        "_probe_cel",
        "_probe_take",
        "_slip",
        "_wanted",
        "cool_kw",
        "cooling",
        "current_a",
        "design",
        "duty",
        "electric_kj",
        "element_cel",
        "enabled",
        "heat_kw",
        "integral",
        "limiter_open",
        "loss_kw",
        "loss_kw_k",
        "lost_kj",
        "manual_percent",
        "name",
        "on_current_a",
        "power_factor",
        "sensed_cel",
        "setpoint_cel",
        "taken_out",
        "true_cel",
    )

    def __init__(
        self,
        design: ZoneDesign,
        name: str,
        *,
        start_cel: float,
        setpoint_cel: float,
        loss_factor: float = 1.0,
        power_factor: float = 1.0,
        phase_s: float | None = None,
    ) -> None:
        """Stand cold and switched off.

        Args:
            design: what it is built like.
            name: front part of its tags; the number at its end staggers the switching.
            start_cel: of steel, heater and thermocouple.
            setpoint_cel: what the controller will aim at.
            loss_factor: how much more than designed it loses to the hall.
            power_factor: what its heater really gives, as a share of the nominal power.
            phase_s: place in the switching period at the start; None: by the number.
        """
        self.design = design
        self.name = name
        self.loss_kw_k = design.loss_kw_k * loss_factor
        self.power_factor = power_factor
        self.true_cel = self.element_cel = self.sensed_cel = self._probe_cel = start_cel
        self.setpoint_cel = setpoint_cel
        self.enabled = False
        self.taken_out = False
        self.manual_percent: float | None = None
        self.duty = self.cooling = self.integral = self._wanted = 0.0
        self.heat_kw = self.loss_kw = self.cool_kw = 0.0
        self.current_a = self.on_current_a = self._on_a_period = 0.0
        self.limiter_open = False
        self.electric_kj = self.lost_kj = 0.0
        self._slip = 0.0
        last = name.rpartition(".")[2]
        number = int(last) if last.isdigit() else 0
        self._place_s = (number * _STAGGER_S if phase_s is None else phase_s) % design.period_s
        self._held_for_dt_s = self._element_keep = self._probe_take = 0.0

    @property
    def mode(self) -> int:
        """How it is controlled: 1 off, 2 automatic, 5 open loop.

        Source: OPC 40084-1, ControlModeEnumeration.
        """
        if not self.enabled or self.taken_out:
            return MODE_OFF
        return MODE_AUTOMATIC if self.manual_percent is None else MODE_OPEN_LOOP

    @property
    def output_percent(self) -> float:
        """What the controller shows: heating positive, cooling negative."""
        return -100.0 * self.cooling if self.cooling > 0.0 and self.duty == 0.0 else 100.0 * self.duty

    @property
    def held_kj(self) -> float:
        """Heat in steel and heater, against 0 Cel."""
        design = self.design
        element = design.element_kj_k
        return (design.capacity_kj_k - element) * self.true_cel + element * self.element_cel

    def step(self, dt_s: float, site: Site, upsets: Upsets, gained_kw: float) -> None:
        """Go on by one step; ``gained_kw`` is what the steel gets from melt, neighbours and water."""
        if dt_s != self._held_for_dt_s:
            self._fit(dt_s)
        upset = upsets.zones.get(self.name) if upsets.zones else None
        before_cel = self.sensed_cel
        self._probe_cel += (self.true_cel - self._probe_cel) * self._probe_take
        if upset is None:
            self.sensed_cel = self._probe_cel
            self._slip = 0.0
        else:
            self._read(dt_s, site.ambient_cel, upset)
        self._control(dt_s, before_cel)
        heat_kj = self._switch(dt_s, site.mains_share, upset)
        self._warm(dt_s, site.ambient_cel, heat_kj, gained_kw, 1.0 if upset is None else upset.loss_factor)

    def _fit(self, dt_s: float) -> None:
        """Lags of a few seconds go exactly, by the exponential of one step."""
        design = self.design
        self._held_for_dt_s = dt_s
        self._element_keep = exp(-dt_s * design.element_kw_k / design.element_kj_k)
        self._probe_take = 1.0 - exp(-dt_s / design.probe_lag_s)

    def _read(self, dt_s: float, hall_cel: float, upset: ZoneUpset) -> None:
        """What a faulty thermocouple says."""
        probe = upset.probe
        if probe is ProbeState.DETACHED:
            self._slip += (upset.probe_level - self._slip) * (1.0 - exp(-dt_s / DETACHED_ONSET_S))
            lag_s = self.design.probe_lag_s
            slow = 1.0 - exp(-dt_s / (lag_s + (DETACHED_LAG_S - lag_s) * self._slip))
            # The sound probe's lag was applied above: take it back, then go slowly towards what lies between.
            fast = self._probe_take
            sound_before = (self._probe_cel - fast * self.true_cel) / (1.0 - fast)
            between_cel = self.true_cel - DETACHED_LOW_SHARE * self._slip * (self.true_cel - hall_cel)
            self._probe_cel = sound_before + (between_cel - sound_before) * slow
            self.sensed_cel = self._probe_cel
            return
        self._slip = 0.0
        if probe is ProbeState.SOUND:
            self.sensed_cel = self._probe_cel
        elif probe is ProbeState.BREAK_UP:
            self.sensed_cel = BREAK_UP_CEL
        elif probe is ProbeState.BREAK_DOWN:
            self.sensed_cel = hall_cel + TERMINAL_BOX_K
        elif probe is ProbeState.REVERSED:
            # The voltage against the cold junction has the wrong sign.
            self.sensed_cel = 2.0 * hall_cel - self._probe_cel

    def _control(self, dt_s: float, before_cel: float) -> None:
        """What the controller wants of the next period, and of the blower now."""
        if not self.enabled or self.taken_out:
            self._wanted = self.cooling = self.integral = 0.0
            if self.limiter_open and self.true_cel < self.design.limit_cel - _LIMITER_RESET_K:
                self.limiter_open = False
            return
        design = self.design
        if self.manual_percent is not None:
            self._wanted = min(1.0, max(0.0, 0.01 * self.manual_percent))
            self.integral = self._wanted
            self.cooling = 0.0
            return
        sensed = self.sensed_cel
        gain = design.gain_per_k
        error = self.setpoint_cel - sensed
        wanted = gain * error + self.integral - gain * design.rate_s * (sensed - before_cel) / dt_s
        self._wanted = 0.0 if wanted < 0.0 else 1.0 if wanted > 1.0 else wanted
        # Conditional integration: a saturated output must not wind the integral further up or down.
        if not ((wanted > 1.0 and error > 0.0) or (wanted < 0.0 and error < 0.0)):
            moved = self.integral + gain * error * dt_s / design.reset_s
            low = _INTEGRAL_LOW if moved < _INTEGRAL_LOW else moved
            self.integral = low if low < _INTEGRAL_HIGH else _INTEGRAL_HIGH
        self.cooling = 0.0
        if design.cool_kw_k > 0.0 and error < -_COOLING_STARTS_K:
            self.cooling = min(1.0, (-error - _COOLING_STARTS_K) / (_COOLING_FULL_K - _COOLING_STARTS_K))

    def _switch(self, dt_s: float, mains_share: float, upset: ZoneUpset | None) -> float:
        """Electric energy of this step, kJ: the heater is on for part of each period."""
        design = self.design
        if not self.enabled or self.taken_out:
            self.duty = 0.0
        place_s = self._place_s
        end_s = place_s + dt_s
        off_s = self.duty * design.period_s
        on_s = 0.0 if place_s >= off_s else (dt_s if end_s <= off_s else off_s - place_s)
        # A period that ends within a rounding error of the step's end has ended.
        if end_s > design.period_s - 1e-9:
            end_s, on_s = self._begin_periods(end_s, on_s)
            off_s = self.duty * design.period_s
        self._place_s = end_s
        left = self.power_factor
        welded = 0.0
        if upset is not None:
            left *= upset.power
            welded = upset.welded
        if self.true_cel > design.limit_cel:
            self.limiter_open = True
        if self.limiter_open:
            left = 0.0
        full_a = design.nominal_a * left * mains_share
        if on_s > 0.0:
            self._on_a_period = self.on_current_a = full_a
        elif welded > 0.0:
            self._on_a_period = max(self._on_a_period, full_a * welded)
            self.on_current_a = max(self.on_current_a, full_a * welded)
        self.current_a = full_a if end_s < off_s else full_a * welded
        heat_kj = design.power_kw * left * mains_share * mains_share * (on_s + welded * (dt_s - on_s))
        self.heat_kw = heat_kj / dt_s
        self.electric_kj += heat_kj
        return heat_kj

    def _begin_periods(self, end_s: float, on_s: float) -> tuple[float, float]:
        """Take what the controller wants for the period that begins: place in it, time on in this step."""
        period_s = self.design.period_s
        while end_s > period_s - 1e-9:
            end_s -= period_s
            self.duty = self._wanted
            self.on_current_a, self._on_a_period = self._on_a_period, 0.0
            on_s += max(0.0, min(self.duty * period_s, end_s, period_s))
        return max(0.0, end_s), on_s

    def _warm(
        self, dt_s: float, hall_cel: float, heat_kj: float, gained_kw: float, loss_factor: float
    ) -> None:
        """Heat balance of heater and steel; the heater goes exactly, against the steel as it was."""
        design = self.design
        steel_cel = self.true_cel
        rest_cel = steel_cel + heat_kj / (dt_s * design.element_kw_k)
        element_cel = rest_cel + (self.element_cel - rest_cel) * self._element_keep
        given_kj = heat_kj - design.element_kj_k * (element_cel - self.element_cel)
        above_k = steel_cel - hall_cel
        self.cool_kw = self.cooling * design.cool_kw_k * above_k if above_k > 0.0 else 0.0
        self.loss_kw = self.loss_kw_k * loss_factor * above_k
        lost_kj = (self.loss_kw + self.cool_kw) * dt_s
        self.lost_kj += lost_kj
        self.element_cel = element_cel
        kept_kj = given_kj - lost_kj + gained_kw * dt_s
        self.true_cel = steel_cel + kept_kj / (design.capacity_kj_k - design.element_kj_k)


def step_ring(
    zones: Sequence[Zone], dt_s: float, site: Site, upsets: Upsets, gained_kw: Sequence[float]
) -> None:
    """Go on by one step with zones in a ring, each touching two others.

    Args:
        zones: in their order round the ring; one alone touches nothing.
        dt_s: length of the step.
        site: the hall.
        upsets: what is wrong.
        gained_kw: what each steel gets from melt and water, shape (zones,).
    """
    coupling = zones[0].design.neighbour_kw_k
    last = len(zones) - 1
    first_cel = zones[0].true_cel
    before_cel = zones[last].true_cel
    for place, zone in enumerate(zones):
        own_cel = zone.true_cel
        after_cel = zones[place + 1].true_cel if place < last else first_cel
        zone.step(dt_s, site, upsets, gained_kw[place] + coupling * (before_cel + after_cel - 2.0 * own_cel))
        before_cel = own_cel


def step_row(
    zones: Sequence[Zone], dt_s: float, site: Site, upsets: Upsets, gained_kw: Sequence[float]
) -> None:
    """Go on by one step with zones in a row; arguments as for the ring, the ends touch one neighbour only."""
    coupling = zones[0].design.neighbour_kw_k
    last = len(zones) - 1
    before_cel = zones[0].true_cel
    for place, zone in enumerate(zones):
        own_cel = zone.true_cel
        after_cel = zones[place + 1].true_cel if place < last else own_cel
        zone.step(dt_s, site, upsets, gained_kw[place] + coupling * (before_cel + after_cel - 2.0 * own_cel))
        before_cel = own_cel
