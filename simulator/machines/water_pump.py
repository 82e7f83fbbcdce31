"""The pump of the process water and the pipes that it works against: flow and pressure."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterPumpDesign:
    """What pump and circuit are built like.

    Attributes:
        flow_m3_h: with clean pipes at full speed.
        ring_bar: what strainer, nozzles and ring take then, behind the pressure sensor.
        shut_bar: what the pump makes against a closed valve at full speed.
        strainer_loss: share of the flow that is missing with the strainer fully blocked.
        pump_loss: share of the speed that is missing with the pump at its worst (air, a worn wheel).
        lag_s: of the water's speed.
        suction_level: tank level below which it draws air, share.
        efficiency: of pump and motor together.

    The numbers are of this size of machine: common practice, no source.
    """

    flow_m3_h: float = 22.0
    ring_bar: float = 2.4
    shut_bar: float = 3.4
    strainer_loss: float = 0.45
    pump_loss: float = 0.6
    lag_s: float = 4.0
    suction_level: float = 0.15
    efficiency: float = 0.45


class WaterPump:
    """Flow, pressure and power.

    The operator's set-point gives the pump's speed, by the clean circuit; nothing measures the flow back, so
    a blocked strainer shows.

    Attributes:
        flow_m3_h, pressure_bar: through the ring; before strainer and ring, gauge.
        power_kw, to_water_kw: electric; what friction heats the water with.
    """

    __slots__ = ("_ring", "_wheel", "design", "flow_m3_h", "power_kw", "pressure_bar", "to_water_kw")

    def __init__(self, design: WaterPumpDesign) -> None:
        self.design = design
        square = design.flow_m3_h * design.flow_m3_h
        self._ring = design.ring_bar / square
        self._wheel = (design.shut_bar - design.ring_bar) / square
        self.flow_m3_h = self.pressure_bar = 0.0
        self.power_kw = self.to_water_kw = 0.0

    def step(
        self,
        dt_s: float,
        on: bool,
        setpoint_m3_h: float,
        level: float,
        strainer_block: float,
        pump_loss: float,
    ) -> None:
        """Go on by one step; ``level`` of the tank, the last three 0–1.

        Source: affinity laws of a centrifugal pump, Δp = s²·p0 − a·Q², against a turbulent circuit k·Q².
        """
        design = self.design
        speed = setpoint_m3_h / design.flow_m3_h if on else 0.0
        speed *= 1.0 - design.pump_loss * pump_loss
        if level < design.suction_level:
            speed *= level / design.suction_level
        wanted = speed * design.flow_m3_h * (1.0 - design.strainer_loss * strainer_block)
        self.flow_m3_h = wanted + (self.flow_m3_h - wanted) * exp(-dt_s / design.lag_s)
        flow = self.flow_m3_h
        if flow < 1e-3:
            self.flow_m3_h = flow = wanted
        head = design.shut_bar * speed * speed - self._wheel * flow * flow
        # A pump that runs down is driven by the water: the sensor sees no less than the ring takes.
        self.pressure_bar = max(head, self._ring * flow * flow)
        hydraulic_kw = self.pressure_bar * flow / 36.0
        idle_kw = 0.6 * speed if on else 0.0
        self.to_water_kw = hydraulic_kw if on else 0.0
        self.power_kw = self.to_water_kw / design.efficiency + idle_kw
