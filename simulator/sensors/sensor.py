"""What a sensor is: the value it reads, and the parameters of its errors."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

Readings = NDArray[np.float64]

SOURCES: Final = ("extruder", "filter", "pelletizer", "line")
# Each machine has a controller of its own; what stands beside a machine is wired to the nearest one.
_SOURCE_OF: Final[Mapping[str, str]] = MappingProxyType(
    {
        "doser": "extruder",
        "extruder": "extruder",
        "pump": "extruder",
        "filter": "filter",
        "die": "pelletizer",
        "pelletizer": "pelletizer",
        "water": "pelletizer",
        "dryer": "pelletizer",
        "pellet": "pelletizer",
        "diverter": "pelletizer",
        "product": "pelletizer",
    }
)


def source_of(path: str) -> str:
    """The source (a machine's controller) that a tag's samples come from.

    Example:
        >>> source_of("doser.rate.pv"), source_of("water.flow.pv"), source_of("room.temp.pv")
        ('extruder', 'pelletizer', 'line')
    """
    return _SOURCE_OF.get(path.partition(".")[0], "line")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor:
    """The errors of one sensor; all of them are off where nothing scatters, except the break's.

    Attributes:
        sigma: standard deviation of the noise, in the tag's unit.
        memory: of the noise from one second to the next, 0–1; 0: white.
        decimals: resolution; None: as it comes.
        lag_s: first-order lag, before the noise.
        drift_per_root_h: slow walk of the zero, standard deviation after an hour.
        drift_bound: how far the zero gets at most, each way.
        missing_share: samples that never come, as a share.
        jitter_s: a sample is taken between 0 and twice as much after its whole second; a mean that is not
            nought keeps each sample in its second.
        quiet_at_rest: no noise while the value is next to nothing (a drive at rest, a heater off).
        full: the value's end, where there is no noise either; None: it has none.
        break_above: what only a broken wire shows; None: it cannot be told.
        tells_break: whether the controller marks such a value bad. Input cards with burn-out detection drive
            the reading to the end of its range and set the channel's fault bit, which a server gives as
            BadSensorFailure together with that value (OPC 10000-8 has the status for this); where the bit is
            not mapped, the value alone comes, as good. common practice, no source.
        every: only each so many-th sample is published.
        fast: read at the fast rate, where one is asked for.
    """

    sigma: float = 0.0
    memory: float = 0.0
    decimals: int | None = 1
    lag_s: float = 0.0
    drift_per_root_h: float = 0.0
    drift_bound: float = 0.0
    missing_share: float = 0.0
    jitter_s: float = 0.0
    quiet_at_rest: bool = False
    full: float | None = None
    break_above: float | None = None
    tells_break: bool = True
    every: int = 1
    fast: bool = False


@dataclass(frozen=True, slots=True)
class Signal:
    """One published signal.

    Attributes:
        path: of its tag.
        read: the value without the sensor's errors, in the tag's unit.
        sensor: its errors.
        difference_of: the two signals whose published values it is the difference of.
        unrest: how much more noise than ordinary there is now, as a factor; None: as much.
    """

    path: str
    read: Callable[[], float]
    sensor: Sensor = Sensor(decimals=None)
    difference_of: tuple[str, str] | None = None
    unrest: Callable[[], float] | None = None
