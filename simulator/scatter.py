"""How nothing on a real line is ever quite even: dirt from bale to bale, the feed, the hall, the mains.

Each term is a stream of its own, moved on once a second, so that the day is the same whatever the step of the
plant is, and a fault that is switched on leaves all of them as they were.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, pi, sin, sqrt

from simulator.chance import Stream
from simulator.machines.site import Site

_DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class ScatterDesign:
    """How uneven the day is; a standard deviation of 0 switches a term off.

    Attributes:
        dirt_sigma, dirt_tau_s: dirt from bale to bale, log-normal, and how long a bale lasts.
        density_sigma, density_tau_s: bulk density.
        feed_walk_per_root_s, feed_tau_s: drift of the doser's scale.
        hall_k: swing of the hall over a day, each way.
        mains_sigma: voltage, share of nominal.
        heater_sigma: heat that zones lose to the hall.
        foam_sigma: pressure that foaming melt gives, share at full foam.

    common practice, no source: all.
    """

    dirt_sigma: float = 0.15
    dirt_tau_s: float = 900.0
    density_sigma: float = 0.03
    density_tau_s: float = 300.0
    feed_walk_per_root_s: float = 0.003 / sqrt(60.0)
    feed_tau_s: float = 3600.0
    hall_k: float = 2.0
    mains_sigma: float = 0.006
    heater_sigma: float = 0.04
    foam_sigma: float = 0.05


class Scatter:
    """The uneven day under way.

    Attributes:
        dirt, density, feed, mains: factors, 1 on an even day.
        foam: factor of the pressure of melt that foams throughout.
    """

    __slots__ = (
        "_bale",
        "_bulk",
        "_design",
        "_draught",
        "_drift",
        "_on",
        "_streams",
        "_volts",
        "foam",
        "seed",
    )

    def __init__(self, design: ScatterDesign, *, seed: int, on: bool) -> None:
        self._design = design
        self._on = on
        self.seed = seed
        names = ("dirt", "feed", "hall", "density", "mains", "foam")
        self._streams = {name: Stream(seed, f"scatter: {name}") for name in names}
        self._bale = self._drift = self._draught = self._bulk = self._volts = 0.0
        self.foam = 1.0

    @property
    def dirt(self) -> float:
        """Dirt in the feed, as a factor."""
        return exp(self._bale)

    @property
    def density(self) -> float:
        """Bulk density of the feed, as a factor."""
        return exp(self._bulk)

    @property
    def feed(self) -> float:
        """What the doser gives against what it says, as a factor."""
        return 1.0 + self._drift

    @property
    def mains(self) -> float:
        """Voltage of the mains, as a share of its nominal value."""
        return 1.0 + self._volts

    def move(self, second: int, site: Site, *, hall_cel: float) -> None:
        """Go on to that whole second and write the hall."""
        if not self._on:
            return
        d, s = self._design, self._streams
        self._bale += _wander(self._bale, d.dirt_sigma, d.dirt_tau_s, s["dirt"].at(second))
        self._bulk += _wander(self._bulk, d.density_sigma, d.density_tau_s, s["density"].at(second))
        self._drift += -self._drift / d.feed_tau_s + d.feed_walk_per_root_s * s["feed"].at(second)
        self._draught += -self._draught / 600.0 + 0.015 * s["hall"].at(second)
        self._volts += _wander(self._volts, d.mains_sigma, 120.0, s["mains"].at(second))
        self.foam = 1.0 + d.foam_sigma * s["foam"].at(second)
        day = sin(2.0 * pi * second / _DAY_S)
        site.ambient_cel = hall_cel + d.hall_k * day + self._draught
        site.cooling_water_cel = 16.0 + 0.5 * d.hall_k * day

    def loss_factors(self, count: int) -> list[float]:
        """How much more or less heat each of the zones loses than designed, shape (count,)."""
        if not self._on:
            return [1.0] * count
        made = Stream(self.seed, "scatter: heaters")
        return [1.0 + self._design.heater_sigma * max(-2.0, min(2.0, made.at(k))) for k in range(count)]


def _wander(value: float, sigma: float, tau_s: float, normal: float) -> float:
    """One second's change of a value that wanders about nought (an Ornstein–Uhlenbeck process)."""
    return -value / tau_s + sigma * sqrt(2.0 / tau_s) * normal
