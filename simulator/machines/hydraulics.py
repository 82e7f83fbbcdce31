"""The small oil circuit that presses the wiper's blades on the screen: pump, accumulator, reducing valve."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

from simulator.machines.site import Site


@dataclass(frozen=True, slots=True, kw_only=True)
class HydraulicsDesign:
    """What the circuit is built like.

    Attributes:
        low_bar, high_bar: pump on, pump off.
        charge_bar_s: how fast the pump fills the accumulator.
        seep_share_s, wiping_share_s: share of its pressure lost each second at rest; more while wiping.
        contact_bar: what the reducing valve gives to the blades while wiping.
        rest_share: what is left of it at rest.
        contact_lag_s: of the contact pressure.
        pump_kw: electric power while it runs.
        heat_kj_k, loss_kw_k: of oil and tank; to the hall.
        housing_kw_k: from the hot filter.

    The numbers are of this size of machine: common practice, no source.
    """

    low_bar: float = 90.0
    high_bar: float = 110.0
    charge_bar_s: float = 4.0
    seep_share_s: float = 4.0e-4
    wiping_share_s: float = 1.2e-2
    contact_bar: float = 30.0
    rest_share: float = 0.25
    contact_lag_s: float = 0.8
    pump_kw: float = 1.5
    heat_kj_k: float = 48.0
    loss_kw_k: float = 0.006
    housing_kw_k: float = 0.0004


class Hydraulics:
    """The circuit with its state.

    Attributes:
        oil_bar, oil_cel: in the accumulator; in the tank.
        contact_bar: on the blades; ``contact_setpoint_bar``: what a person set.
        pumping: whether the pump runs; ``pump_kw``: its power now.
        lost_kj: heat given to the hall since the start.
    """

    __slots__ = (
        "_held_for_dt_s",
        "_take",
        "contact_bar",
        "contact_setpoint_bar",
        "design",
        "lost_kj",
        "oil_bar",
        "oil_cel",
        "pump_kw",
        "pumping",
    )

    def __init__(self, design: HydraulicsDesign, *, start_cel: float) -> None:
        self.design = design
        self.oil_bar = design.low_bar
        self.oil_cel = start_cel
        self.contact_setpoint_bar = design.contact_bar
        self.contact_bar = design.rest_share * design.contact_bar
        self.pumping = False
        self.pump_kw = 0.0
        self.lost_kj = 0.0
        self._held_for_dt_s = self._take = 0.0

    @property
    def held_kj(self) -> float:
        """Heat in oil and tank, against 0 Cel."""
        return self.design.heat_kj_k * self.oil_cel

    @property
    def contact_share(self) -> float:
        """Contact pressure as a share of the designed one."""
        return self.contact_bar / self.design.contact_bar

    def step(self, dt_s: float, site: Site, wiping: bool, housing_cel: float) -> float:
        """Go on by one step.

        Returns:
            heat that the oil took from the filter's housing, kJ.
        """
        design = self.design
        if dt_s != self._held_for_dt_s:
            self._held_for_dt_s = dt_s
            self._take = 1.0 - exp(-dt_s / design.contact_lag_s)
        self.pumping = self.oil_bar < (design.high_bar if self.pumping else design.low_bar)
        self.pump_kw = design.pump_kw * site.mains_share if self.pumping else 0.0
        seep = design.seep_share_s + (design.wiping_share_s if wiping else 0.0)
        charge = design.charge_bar_s if self.pumping else 0.0
        self.oil_bar += (charge - seep * self.oil_bar) * dt_s
        wanted = self.contact_setpoint_bar * (1.0 if wiping else design.rest_share)
        self.contact_bar += (min(wanted, self.oil_bar) - self.contact_bar) * self._take
        housing_kj = design.housing_kw_k * (housing_cel - self.oil_cel) * dt_s
        lost_kj = design.loss_kw_k * (self.oil_cel - site.ambient_cel) * dt_s
        self.lost_kj += lost_kj
        self.oil_cel += (self.pump_kw * dt_s + housing_kj - lost_kj) / design.heat_kj_k
        return housing_kj
