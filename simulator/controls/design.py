"""Limits and times of the line's controls."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlDesign:
    """Limits and times of the controls.

    Attributes:
        soak_s: how long all zones must have been in their band.
        band_k: half of it; within it the clock runs.
        restart_k: a zone that is further off starts the clock again, and no screw starts meanwhile; between
            the two the clock waits, so that cold water on the die does not cost the soak.
        cold_k: a barrel zone that is colder by more than this lets no screw start, override or not.
        head_trip_bar: melt pressure at which feed and screw stop.
        overload_percent, overload_s: torque that stops the screw after that time.
        long_overload_percent, long_overload_s: less torque, for longer.
        cutting_from_min: knives that turn slower do not cut.
        water_least_share: of the wanted flow; less is none.
        pelletizer_s: how long melt may flow into a pelletizer that does not run.
        pump_low_bar, pump_low_s: melt pressure before the pump at which it runs dry, after that time.
        pump_high_bar, pump_high_s: and at which it does not keep up.
        wiper_retries: how often a cleaning that failed is tried again.
        run_out_s: how long the screw turns on without feed when it is stopped in order.
        knives_after_s: how long the knives turn on when no more melt comes.

    common practice, no source: all numbers.
    """

    soak_s: float = 1800.0
    band_k: float = 3.0
    restart_k: float = 6.0
    cold_k: float = 15.0
    head_trip_bar: float = 200.0
    overload_percent: float = 110.0
    overload_s: float = 3.0
    long_overload_percent: float = 105.0
    long_overload_s: float = 10.0
    cutting_from_min: float = 100.0
    water_least_share: float = 0.5
    pelletizer_s: float = 10.0
    pump_low_bar: float = 5.0
    pump_low_s: float = 5.0
    pump_high_bar: float = 120.0
    pump_high_s: float = 1.0
    wiper_retries: int = 2
    run_out_s: float = 10.0
    knives_after_s: float = 30.0
