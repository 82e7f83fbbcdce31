"""What the line takes from the mains, by consumer, and what the hall's own gauges show."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp

from simulator.machines.site import Site

# In the order in which ``Meters.step`` takes them.
CONSUMERS = (
    "screw drive",
    "barrel heaters",
    "melt pump",
    "filter heaters",
    "filter drives",
    "die heaters",
    "knives",
    "process water",
    "dryer",
    "vacuum",
    "doser",
    "base load",
)
_VACUUM = CONSUMERS.index("vacuum")


@dataclass(frozen=True, slots=True, kw_only=True)
class MetersDesign:
    """What is not metered alone, and the hall's gauges.

    Attributes:
        base_kw: controls, air compressor, conveying, lamps; at nominal voltage.
        counter_kwh: resolution of the energy counter.
        air_lag_s: of the compressed-air gauge.
        vacuum_water_k: how much warmer than the cooling water the vacuum pump's water is under load;
            ``vacuum_reference_kw``: that load; ``vacuum_lag_s``: how slowly it follows.

    The numbers are of this size of machine: common practice, no source.
    """

    base_kw: float = 11.0
    counter_kwh: float = 0.1
    air_lag_s: float = 2.0
    vacuum_water_k: float = 6.0
    vacuum_reference_kw: float = 3.0
    vacuum_lag_s: float = 120.0


class Meters:
    """The incoming meter and the hall's gauges.

    Attributes:
        line_kw: active power of all consumers together.
        line_kwh: energy since the start; ``shown_kwh``: what the counter shows.
        taken_kw, taken_kwh: by consumer, in the order of ``CONSUMERS``.
        air_bar: compressed air, gauge.
        cooling_water_cel, cooling_water_m3_h: to the cooler of the process water.
        vacuum_water_cel: of the vacuum pump.
    """

    __slots__ = (
        "air_bar",
        "cooling_water_cel",
        "cooling_water_m3_h",
        "design",
        "line_kw",
        "line_kwh",
        "taken_kw",
        "taken_kwh",
        "vacuum_water_cel",
    )

    def __init__(self, design: MetersDesign, site: Site) -> None:
        self.design = design
        self.line_kw = self.line_kwh = 0.0
        self.taken_kw = [0.0] * len(CONSUMERS)
        self.taken_kwh = [0.0] * len(CONSUMERS)
        self.air_bar = site.air_bar
        self.cooling_water_cel = self.vacuum_water_cel = site.cooling_water_cel
        self.cooling_water_m3_h = 0.0

    @property
    def shown_kwh(self) -> float:
        """What the energy counter shows."""
        step = self.design.counter_kwh
        return int(self.line_kwh / step + 1e-9) * step

    @property
    def by_consumer_kw(self) -> Mapping[str, float]:
        """Power by the name of the consumer."""
        return dict(zip(CONSUMERS, self.taken_kw, strict=True))

    @property
    def by_consumer_kwh(self) -> Mapping[str, float]:
        """Energy by the name of the consumer."""
        return dict(zip(CONSUMERS, self.taken_kwh, strict=True))

    def step(self, dt_s: float, site: Site, taken_kw: Sequence[float], cooling_water_m3_h: float) -> None:
        """Go on by one step.

        Args:
            dt_s: length of the step.
            site: the hall.
            taken_kw: power of each consumer in the order of ``CONSUMERS``, without the base load.
            cooling_water_m3_h: through the process water's cooler.
        """
        design = self.design
        power, energy = self.taken_kw, self.taken_kwh
        hours = dt_s / 3600.0
        whole_kw = 0.0
        last = len(power) - 1
        for place, kw in enumerate(taken_kw):
            power[place] = kw
            energy[place] += kw * hours
            whole_kw += kw
        base_kw = design.base_kw * site.mains_share * site.mains_share
        power[last] = base_kw
        energy[last] += base_kw * hours
        self.line_kw = whole_kw + base_kw
        self.line_kwh += self.line_kw * hours
        self.air_bar = site.air_bar + (self.air_bar - site.air_bar) * exp(-dt_s / design.air_lag_s)
        self.cooling_water_cel = site.cooling_water_cel
        self.cooling_water_m3_h = cooling_water_m3_h
        load = power[_VACUUM] / design.vacuum_reference_kw
        warm_cel = site.cooling_water_cel + design.vacuum_water_k * load
        self.vacuum_water_cel = warm_cel + (self.vacuum_water_cel - warm_cel) * exp(
            -dt_s / design.vacuum_lag_s
        )
