"""The phases of a line, and how long the signs of each must last."""

from __future__ import annotations

from collections.abc import Mapping

UNKNOWN = "unknown"
OFF = "off"
HEAT_UP = "heat-up"
SOAK = "soak"
START = "start"
RAMP = "ramp"
STEADY = "steady"
RUNNING = "running"
STANDBY = "standby"
SHUTDOWN = "shutdown"
SCREEN_CHANGE = "screen change"
MATERIAL_CHANGE = "material change"

DWELL_S: Mapping[str, float] = {
    UNKNOWN: 60,
    OFF: 60,
    HEAT_UP: 60,
    SOAK: 120,
    START: 30,
    RAMP: 60,
    STEADY: 0,  # its window is its dwell
    RUNNING: 60,
    STANDBY: 60,
    SHUTDOWN: 60,
    SCREEN_CHANGE: 0,  # somebody has told of it
    MATERIAL_CHANGE: 0,
}
"""How long a phase's signs must last before it is the present one, s."""
