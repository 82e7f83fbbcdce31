"""An extruder with a doser before it and a die behind it, for tests."""

from __future__ import annotations

from math import exp

from simulator.machines.doser import Doser, DoserDesign
from simulator.machines.extruder import BUMPER_EXTRUDER, Extruder, ExtruderDesign
from simulator.machines.material import MATERIALS, Material
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from tests.support.heating import switch


class Bench:
    """Doser, extruder and a resistance behind it that follows the power law with a lag of 1.5 s."""

    def __init__(
        self,
        design: ExtruderDesign,
        material: Material,
        *,
        kg_h: float,
        bar: float,
        cel: float,
        dt_s: float = 1.0,
        start_cel: float = 20.0,
    ) -> None:
        self.site = Site()
        self.upsets = Upsets()
        self.material = material
        self.kg_h = kg_h
        self.bar = bar
        self.cel = cel
        self.dt_s = dt_s
        self.head_bar = 0.0
        self.resistance = 1.0
        self.extruder = Extruder(design, material, start_cel=start_cel)
        self.doser = Doser(DoserDesign(), material, start_cel=20.0)

    def step(self) -> None:
        extruder, material = self.extruder, self.material
        running = extruder.enabled and extruder.screw_min > 5.0
        fed_kg_s = self.doser.step(
            self.dt_s, self.site, self.upsets, running, material, blocked=extruder.throat_full
        )
        kg_s = extruder.step(
            self.dt_s,
            self.site,
            self.upsets,
            fed_kg_s,
            self.doser.out_cel,
            material.moisture_share(self.upsets),
            self.head_bar,
            material,
        )
        polymer = material.polymer
        share = kg_s * 3600.0 / self.kg_h
        target = 0.0
        if share > 0.005:
            warmth = polymer.temperature_factor(extruder.melt_cel) / polymer.temperature_factor(self.cel)
            target = (
                self.bar
                * self.resistance
                * material.stiffness(self.upsets)
                * warmth
                * share**polymer.exponent
            )
        self.head_bar += (target - self.head_bar) * (1.0 - exp(-self.dt_s / 1.5))

    def run(self, seconds: float) -> None:
        for _ in range(round(seconds / self.dt_s)):
            self.step()

    def soak(self, seconds: float = 92.0 * 60.0) -> None:
        switch(self.extruder.zones, True)
        self.run(seconds)

    def start(self, speed: float, kg_h: float) -> None:
        self.extruder.enabled = True
        self.extruder.screw_setpoint_min = speed
        self.doser.setpoint_kg_h = kg_h


def film_bench(dt_s: float = 1.0, start_cel: float = 20.0) -> Bench:
    """LDPE film at 780 kg/h."""
    return Bench(
        ExtruderDesign(),
        MATERIALS["film"],
        kg_h=780.0,
        bar=104.0,
        cel=221.0,
        dt_s=dt_s,
        start_cel=start_cel,
    )


def bumper_bench(dt_s: float = 1.0, start_cel: float = 20.0) -> Bench:
    """PP regrind at 620 kg/h."""
    return Bench(
        BUMPER_EXTRUDER,
        MATERIALS["bumper"],
        kg_h=620.0,
        bar=80.0,
        cel=239.0,
        dt_s=dt_s,
        start_cel=start_cel,
    )
