"""Die, knives, water, dryer and outlet in running order, for tests of one and of all."""

from __future__ import annotations

from copy import deepcopy
from functools import cache

from simulator.machines.melt import POLYMERS
from simulator.machines.outlet import GOOD
from simulator.machines.pelletizing import FOR_LDPE, FOR_PP, Pelletizing
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from tests.support.heating import switch

SITE = Site()
LDPE_KG_H, LDPE_CEL = 780.0, 221.0
PP_KG_H, PP_CEL = 620.0, 239.0


class PelletLine:
    """The machines with what flows into them."""

    def __init__(self, polymer: str, kg_h: float, cel: float) -> None:
        self.kg_h, self.cel = kg_h, cel
        self.upsets = Upsets()
        design = FOR_PP if polymer == "PP" else FOR_LDPE
        self.machines = Pelletizing(design, POLYMERS[polymer], start_cel=design.die.setpoint_cel)
        switch(self.machines.die.zones, True)
        for zone in self.machines.die.zones:
            zone.integral = 0.6
        self.machines.run(True)
        self.machines.outlet.diverter = GOOD

    def go(self, seconds: float, *, dt_s: float = 1.0, site: Site = SITE) -> PelletLine:
        for _ in range(round(seconds / dt_s)):
            self.machines.step(dt_s, site, self.upsets, self.kg_h / 3600.0, self.cel)
        return self


@cache
def _warm(polymer: str, kg_h: float, cel: float) -> PelletLine:
    line = PelletLine(polymer, 0.0, cel).go(60)
    line.kg_h = kg_h
    return line.go(5400)


def running(polymer: str = "LDPE") -> PelletLine:
    """A line that has run at its planned flow for an hour and a half; a copy, to be upset at will."""
    if polymer == "PP":
        return deepcopy(_warm("PP", PP_KG_H, PP_CEL))
    return deepcopy(_warm("LDPE", LDPE_KG_H, LDPE_CEL))
