"""The sensors of a line by kind: what a transmitter, probe or drive of its sort gets wrong.

Noise is that of the line's size of machine; lags, drifts and bounds are what such sensors are specified to or
better: common practice, no source, all of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from simulator.sensors.sensor import Sensor, Signal

_JITTER_S: Final = 0.08
_MISSING: Final = 0.0005


def _measured(sensor: Sensor) -> Sensor:
    return replace(sensor, jitter_s=_JITTER_S, missing_share=_MISSING)


# What a controller knows by itself: it comes as it is, at its time.
EXACT: Final = Sensor(decimals=None, jitter_s=_JITTER_S)
CALCULATED: Final = _measured(Sensor())
# What a controller subtracts comes as fast as what it is made of.
DIFFERENCE: Final = _measured(Sensor(fast=True))
COUNTER: Final = Sensor(decimals=None, jitter_s=_JITTER_S)

THERMOCOUPLE: Final = _measured(Sensor(sigma=0.12, drift_per_root_h=0.05, drift_bound=0.8, break_above=600.0))
MELT_PROBE: Final = _measured(
    Sensor(sigma=0.25, lag_s=4.0, drift_per_root_h=0.08, drift_bound=1.0, break_above=600.0)
)
STEEL_PROBE: Final = _measured(Sensor(sigma=0.12, lag_s=12.0, drift_per_root_h=0.05, drift_bound=0.8))
AIR_PROBE: Final = _measured(Sensor(sigma=0.05, lag_s=60.0, drift_per_root_h=0.03, drift_bound=0.5))
EXHAUST_PROBE: Final = _measured(Sensor(sigma=0.15, lag_s=20.0, drift_per_root_h=0.05, drift_bound=0.8))
SUPPLY_WATER: Final = _measured(
    Sensor(sigma=0.05, decimals=2, lag_s=4.0, drift_per_root_h=0.02, drift_bound=0.3)
)
RETURN_WATER: Final = replace(SUPPLY_WATER, sigma=0.08)
OUTPUT: Final = _measured(Sensor(sigma=0.4, quiet_at_rest=True, full=100.0))
VALVE: Final = _measured(Sensor(sigma=0.2, quiet_at_rest=True, full=100.0))
HEATER_CURRENT: Final = _measured(Sensor(sigma=0.03, decimals=2, quiet_at_rest=True))

MELT_PRESSURE: Final = _measured(Sensor(sigma=0.30, drift_per_root_h=0.06, drift_bound=1.0, fast=True))
INLET_PRESSURE: Final = replace(MELT_PRESSURE, sigma=0.35)
VACUUM: Final = _measured(Sensor(sigma=1.5, lag_s=0.5, drift_per_root_h=0.3, drift_bound=4.0))
WATER_PRESSURE: Final = _measured(
    Sensor(sigma=0.01, decimals=2, drift_per_root_h=0.003, drift_bound=0.05, quiet_at_rest=True)
)
AIR_PRESSURE: Final = _measured(Sensor(sigma=0.02, decimals=2, drift_per_root_h=0.003, drift_bound=0.05))
OIL_PRESSURE: Final = _measured(Sensor(sigma=0.3, drift_per_root_h=0.1, drift_bound=1.5, quiet_at_rest=True))
KNIFE_PRESSURE: Final = _measured(Sensor(sigma=0.01, decimals=2, quiet_at_rest=True))

FEED_RATE: Final = _measured(Sensor(sigma=6.0, quiet_at_rest=True))
HOPPER_WEIGHT: Final = _measured(Sensor(sigma=0.1, lag_s=1.0))
LEVEL: Final = _measured(Sensor(sigma=0.2))
WATER_FLOW: Final = _measured(
    Sensor(sigma=0.1, lag_s=1.0, drift_per_root_h=0.02, drift_bound=0.3, quiet_at_rest=True)
)
SMALL_WATER_FLOW: Final = _measured(Sensor(sigma=0.05, decimals=2, lag_s=2.0, quiet_at_rest=True))
FINES_LEVEL: Final = _measured(Sensor(sigma=0.5, lag_s=5.0))
MOISTURE: Final = _measured(Sensor(sigma=0.004, decimals=3, lag_s=30.0))

SPEED: Final = _measured(Sensor(sigma=0.1, quiet_at_rest=True))
FINE_SPEED: Final = _measured(Sensor(sigma=0.05, decimals=2, quiet_at_rest=True))
KNIFE_SPEED: Final = _measured(Sensor(sigma=2.0, decimals=0, quiet_at_rest=True))
# A screw drive's torque follows its own past.
DRIVE_TORQUE: Final = _measured(Sensor(sigma=0.6, memory=0.8, quiet_at_rest=True, fast=True))
TORQUE: Final = _measured(Sensor(sigma=1.0, quiet_at_rest=True))
KNIFE_TORQUE: Final = replace(TORQUE, fast=True)
WIPER_TORQUE: Final = _measured(Sensor(sigma=3.0, quiet_at_rest=True, fast=True))
DISCHARGE_TORQUE: Final = _measured(Sensor(sigma=2.0, quiet_at_rest=True, fast=True))
ANGLE: Final = _measured(Sensor(fast=True))
GAP: Final = _measured(Sensor(sigma=0.004, decimals=3))
DRIVE_CURRENT: Final = _measured(Sensor(sigma=2.0, quiet_at_rest=True))
MOTOR_CURRENT: Final = _measured(Sensor(sigma=0.1, quiet_at_rest=True))
POWER: Final = _measured(Sensor(sigma=1.2, quiet_at_rest=True))
VIBRATION: Final = _measured(Sensor(sigma=0.05, decimals=2, quiet_at_rest=True))
THROUGHPUT: Final = _measured(Sensor(sigma=3.0, lag_s=20.0, quiet_at_rest=True))


def varied(
    signals: Sequence[Signal],
    *,
    noise: float = 1.0,
    jitter_s: float | None = None,
    missing_share: float | None = None,
    temperature_s: int = 1,
) -> list[Signal]:
    """The same signals with other sensors.

    Args:
        signals: what to vary.
        noise: factor of all noise.
        jitter_s, missing_share: of all sensors that have any; None: as they are.
        temperature_s: whole seconds from one sample of a temperature to the next.
    """
    made = []
    for signal in signals:
        sensor = replace(signal.sensor, sigma=noise * signal.sensor.sigma)
        if jitter_s is not None and sensor.jitter_s > 0.0:
            sensor = replace(sensor, jitter_s=jitter_s)
        if missing_share is not None and sensor.missing_share > 0.0:
            sensor = replace(sensor, missing_share=missing_share)
        if temperature_s > 1 and signal.path.endswith(".temp.pv"):
            sensor = replace(sensor, every=temperature_s)
        made.append(replace(signal, sensor=sensor))
    return made
