"""What a machine's own control gets from one of its sensors, so that a faulty sensor misleads it too."""

from __future__ import annotations

from math import exp

from historian.catalogue import meaning_of
from simulator.machines.upsets import Upsets


class Felt:
    """One sensor as the control loop feels it: its upset, but no noise and no resolution.

    The plant hands ``feel`` to the machine; the signal of the same path still reads the truth, as instruments
    apply the upset once by themselves.

    Attributes:
        value: what the control felt last.
    """

    __slots__ = ("_low", "_slow", "path", "value")

    def __init__(self, path: str, value: float = 0.0) -> None:
        self.path = path
        self.value = value
        self._slow = value
        meaning = meaning_of(path)
        # A dead transmitter stands at the low end of its range.
        self._low = 0.0 if meaning is None else meaning.low

    def feel(self, real: float, upsets: Upsets, dt_s: float) -> float:
        """What the control gets of the real value in this step."""
        upset = upsets.sensors.get(self.path) if upsets.sensors else None
        if upset is None:
            self._slow = self.value = real
            return real
        if upset.lag_s > 0.0:
            self._slow += (1.0 - exp(-dt_s / upset.lag_s)) * (real - self._slow)
        else:
            self._slow = real
        if upset.dead:
            self.value = self._low
        elif not upset.frozen:
            self.value = upset.gain * self._slow + upset.offset
        return self.value
