from __future__ import annotations

from simulator.sensors import Sensor, Signal, kinds
from simulator.sensors.kinds import DRIVE_TORQUE, EXACT, THERMOCOUPLE, varied

SENSORS = {name: value for name, value in vars(kinds).items() if isinstance(value, Sensor)}


def test_measured_values_jitter_and_go_missing_and_what_a_controller_knows_does_not() -> None:
    assert len(SENSORS) > 30
    exact = {"EXACT", "COUNTER"}
    assert {name for name, s in SENSORS.items() if s.missing_share == 0.0} == exact
    assert all(s.missing_share == 0.0005 for name, s in SENSORS.items() if name not in exact)
    assert all(s.jitter_s == 0.08 for s in SENSORS.values())
    assert all(s.sigma == 0.0 and s.decimals is None for name, s in SENSORS.items() if name in exact)


def test_a_drift_has_a_bound() -> None:
    drifting = [s for s in SENSORS.values() if s.drift_per_root_h > 0.0]
    assert len(drifting) > 8
    assert all(s.drift_bound >= 5.0 * s.drift_per_root_h for s in drifting)


def test_varied_changes_what_it_is_told_to() -> None:
    signals = [
        Signal("extruder.zone.1.temp.pv", lambda: 1.0, THERMOCOUPLE),
        Signal("extruder.drive.torque.pv", lambda: 1.0, DRIVE_TORQUE),
        Signal("doser.rate.sp", lambda: 1.0, EXACT),
    ]
    assert varied(signals) == signals
    temp, torque, setpoint = varied(signals, noise=2.0, jitter_s=0.1, missing_share=0.001, temperature_s=2)
    assert (temp.sensor.sigma, temp.sensor.every, temp.sensor.lag_s) == (0.24, 2, 0.0)
    assert (torque.sensor.sigma, torque.sensor.every, torque.sensor.memory) == (1.2, 1, 0.8)
    assert {s.sensor.jitter_s for s in (temp, torque, setpoint)} == {0.1}
    assert (torque.sensor.missing_share, setpoint.sensor.missing_share) == (0.001, 0.0)
