"""One fault of a scenario: which, where, from when to when, and how bad."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, expm1

# Below this a fault that dies away has gone.
GONE = 1.0e-3
# A ramp that is shorter than this share of the lag is a step.
_STEEP = 1.0e-9


@dataclass(frozen=True, slots=True)
class FaultOrder:
    """One fault of a scenario.

    Attributes:
        id: name of this one in the truth file.
        fault: which fault, a key of ``FAULTS``.
        onset_s, end_s: when it begins and ends; None: not before the end of the scenario.
        ramp_s: how long it takes to grow to its severity.
        severity: 0–1; what 1 means is said beside the fault.
        place: place number where the fault needs one.
        tag: path of the sensor's tag where the fault needs one.
        source: name of the source of samples where the fault needs one.
    """

    id: str
    fault: str
    onset_s: float
    end_s: float | None = None
    ramp_s: float = 0.0
    severity: float = 1.0
    place: int | None = None
    tag: str = ""
    source: str = ""

    def level(self, second: float) -> float:
        """How far the fault has grown: 0 outside its time, ``severity`` after its ramp."""
        if second < self.onset_s or (self.end_s is not None and second >= self.end_s):
            return 0.0
        return self._grown(second)

    def lagged_level(self, second: float, lag_s: float) -> float:
        """The level as something sluggish follows it, on the way up and, after the end, on the way down.

        Derived here: first-order lag of a ramp that then stays, in closed form: no step before counts.

        Example:
            >>> round(FaultOrder("x", "stiffer_melt", 0.0).lagged_level(180.0, 180.0), 3)
            0.632
        """
        if lag_s <= 0.0:
            return self.level(second)
        if second < self.onset_s:
            return 0.0
        if self.end_s is None or second < self.end_s:
            return self._followed(second - self.onset_s, lag_s)
        fading = self._followed(self.end_s - self.onset_s, lag_s) * exp((self.end_s - second) / lag_s)
        return fading if fading > GONE * self.severity else 0.0

    def _grown(self, second: float) -> float:
        if self.ramp_s <= 0.0:
            return self.severity
        return self.severity * min(1.0, (second - self.onset_s) / self.ramp_s)

    def _followed(self, since_s: float, lag_s: float) -> float:
        ramp_s = self.ramp_s
        if ramp_s <= _STEEP * lag_s:
            return -self.severity * expm1(-since_s / lag_s)
        if since_s <= ramp_s:
            return self.severity * (since_s + lag_s * expm1(-since_s / lag_s)) / ramp_s
        # As if the ramp had begun at once, but later.
        behind = lag_s / ramp_s * -expm1(-ramp_s / lag_s)
        return self.severity * (1.0 - behind * exp((ramp_s - since_s) / lag_s))
