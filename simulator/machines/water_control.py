"""The controller of the process-water temperature: cooler valve and tank heater."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterControlDesign:
    """How the controller is set.

    Attributes:
        gain_per_k: valve opening for a kelvin too warm.
        reset_s: of the slow integral part.
        start: valve opening it begins with at the set-point.
        stroke_s: from closed to open.
        heater_from_k, heater_full_k: so much too cold, the heater comes on, and is fully on.

    The numbers are of this size of machine: common practice, no source.
    """

    gain_per_k: float = 0.12
    reset_s: float = 1200.0
    start: float = 0.3
    stroke_s: float = 60.0
    heater_from_k: float = 0.5
    heater_full_k: float = 1.5


class WaterControl:
    """Valve and heater.

    Attributes:
        valve: where it is, 0–1.
        heater: share of the heater's power, 0–1.
    """

    __slots__ = ("_integral", "design", "heater", "valve")

    def __init__(self, design: WaterControlDesign) -> None:
        self.design = design
        self._integral = design.start
        self.valve = 0.0
        self.heater = 0.0

    def step(self, dt_s: float, error_k: float, stuck: float | None) -> None:
        """Go on by one step; ``error_k`` too warm, ``stuck`` where the valve sticks, if it does."""
        design = self.design
        gain = design.gain_per_k
        wanted = gain * error_k + self._integral
        # A valve at its end must not wind the integral further.
        if not ((wanted > 1.0 and error_k > 0.0) or (wanted < 0.0 and error_k < 0.0)):
            self._integral += gain * error_k * dt_s / design.reset_s
        if stuck is None:
            aim = min(1.0, max(0.0, wanted))
            limit = dt_s / design.stroke_s
            self.valve += max(-limit, min(limit, aim - self.valve))
        else:
            self.valve = min(1.0, max(0.0, stuck))
        cold = (-error_k - design.heater_from_k) / (design.heater_full_k - design.heater_from_k)
        self.heater = min(1.0, max(0.0, cold))
