"""A melt filter fed at a steady rate, with the pressure difference that it would see, for tests."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

from simulator.machines.filter import FILM_FILTER, REGRIND_FILTER, FilterDesign, MeltFilter
from simulator.machines.melt import POLYMERS, Polymer
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.wiper import WiperState
from tests.support.heating import switch

_PRESSURE_LAG_S = 1.5


@dataclass(frozen=True, slots=True)
class Cleaning:
    """One cleaning: times of start and end, pressures before and after, what came out, the wiper's torque."""

    start_s: float
    end_s: float
    peak_bar: float
    trough_bar: float
    discharged_kg: float
    peak_percent: float
    mean_percent: float


class Bench:
    """Feeds a filter and writes down its cleanings."""

    def __init__(
        self,
        design: FilterDesign = FILM_FILTER,
        polymer: Polymer = POLYMERS["LDPE"],
        *,
        kg_h: float = 780.0,
        in_cel: float = 221.0,
        dirt: float = 0.014,
        dt_s: float = 1.0,
    ) -> None:
        self.filter = MeltFilter(design, polymer, start_cel=design.plate_cel)
        switch((*self.filter.plates, self.filter.block), True)
        self.site = Site()
        self.upsets = Upsets()
        self.kg_s = kg_h / 3600.0
        self.in_cel = in_cel
        self.dirt = dirt
        self.dt_s = dt_s
        self.time_s = 0.0
        self.sensed_bar = 0.0
        self.outlet_bar = 62.0
        self.out_kg_s = 0.0
        self.cleanings: list[Cleaning] = []
        self._torques: list[float] = []
        self._start_s = self._peak_bar = self._due_s = self._end_s = 0.0
        self._weighed_kg = 0.0

    def step(self) -> None:
        machine = self.filter
        real_bar = machine.difference_bar(self.kg_s, machine.screen_cel)
        self.sensed_bar += (real_bar - self.sensed_bar) * (1.0 - exp(-self.dt_s / _PRESSURE_LAG_S))
        was = machine.wiper.moving and machine.state is WiperState.WIPING
        self.out_kg_s = machine.step(
            self.dt_s,
            self.site,
            self.upsets,
            self.kg_s,
            self.in_cel,
            self.dirt * self.upsets.dirt_factor,
            self.upsets.viscosity_factor,
            self.sensed_bar + self.outlet_bar,
            self.sensed_bar,
        )
        self.time_s += self.dt_s
        self._write(was, machine.wiper.moving and machine.state is WiperState.WIPING)

    def _write(self, was: bool, wipes: bool) -> None:
        if wipes and not was:
            self._start_s = self.time_s
            self._peak_bar = self.sensed_bar
            self._torques = []
        if wipes:
            self._torques.append(self.filter.torque_percent)
        if was and not wipes:
            self._end_s = self.time_s
            self._due_s = self.time_s + 6.0
        if self._due_s and self.time_s >= self._due_s:
            self._due_s = 0.0
            shown_kg = self.filter.scale_kg
            self.cleanings.append(
                Cleaning(
                    self._start_s,
                    self._end_s,
                    self._peak_bar,
                    self.sensed_bar,
                    shown_kg - self._weighed_kg,
                    max(self._torques),
                    sum(self._torques) / len(self._torques),
                )
            )
            self._weighed_kg = shown_kg

    def run(self, seconds: float) -> None:
        for _ in range(round(seconds / self.dt_s)):
            self.step()

    def intervals_s(self) -> list[float]:
        """From start to start."""
        return [b.start_s - a.start_s for a, b in zip(self.cleanings, self.cleanings[1:], strict=False)]


def regrind_bench(kg_h: float = 620.0) -> Bench:
    """A smaller filter on polypropylene regrind."""
    return Bench(REGRIND_FILTER, POLYMERS["PP"], kg_h=kg_h, in_cel=239.0, dirt=0.021)
