"""The machine's own list: when entries come and go, what it is told, and how poor it is on purpose."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import pytest

from historian.event import Event
from historian.frame import NS
from historian.quality import SENSOR_FAILURE
from simulator.controls.alarm_kinds import KINDS
from simulator.controls.alarm_list import MACHINE_ALARM, AlarmList, event_of
from simulator.controls.line_control import WIPER_DRIVE
from simulator.controls.view import Message
from simulator.course import Run
from simulator.published import Publication, Sample
from simulator.recorder import Recorder
from simulator.scenarios.scenario import Scenario, Step

RUNNING: Mapping[str, float] = {
    "extruder.enable.state": 1.0,
    "extruder.head.pressure.pv": 100.0,
    "extruder.melt.temp.pv": 221.0,
    "extruder.drive.torque.pv": 64.0,
    "extruder.vent.1.pressure.pv": 80.0,
    "extruder.zone.1.temp.pv": 200.0,
    "extruder.zone.1.temp.sp": 201.0,
    "extruder.zone.1.out": 20.0,
    "extruder.zone.1.i": 22.5,
    "filter.inlet.pressure.pv": 90.0,
    "filter.dp.calc": 30.0,
    "filter.wiper.state": 0.0,
    "filter.wiper.park.state": 1.0,
    "filter.wiper.torque.pv": 0.0,
    "filter.plate.1.temp.pv": 200.0,
    "filter.plate.1.temp.sp": 200.0,
    "filter.plate.1.enabled.state": 1.0,
    "filter.discharge.temp.pv": 215.0,
    "die.pressure.pv": 58.0,
    "doser.rate.pv": 780.0,
    "doser.rate.sp": 780.0,
    "doser.level.pv": 60.0,
    "pelletizer.closed.state": 1.0,
    "pelletizer.knife.pressure.pv": 3.2,
    "water.flow.pv": 22.0,
    "water.supply.temp.pv": 42.0,
    "dryer.current.pv": 15.0,
}


class Machine:
    """An alarm list fed second by second."""

    def __init__(self) -> None:
        self.list = AlarmList()
        self.second = 0
        self.changes = 0

    def go(self, seconds: int) -> Machine:
        return self.with_values({}, seconds)

    def with_values(self, values: Mapping[str, float], seconds: int, quality: int = 0) -> Machine:
        for _ in range(seconds):
            self.second += 1
            shown = {**RUNNING, **values}
            samples = [
                Sample(p, 0, self.second * NS, v, quality if p in values else 0, True)
                for p, v in shown.items()
            ]
            self.changes += len(self.list.judge(samples))
        return self

    def active(self) -> list[str]:
        return [a.kind.name for a in self.list.alarms if a.active]


def test_a_line_in_production_has_none() -> None:
    assert Machine().go(120).active() == []


@pytest.mark.parametrize(
    ("path", "value", "after_s", "name"),
    [
        ("filter.inlet.pressure.pv", 131.0, 3, "MeltPressureHigh"),
        ("extruder.head.pressure.pv", 171.0, 1, "HeadPressureHigh"),
        ("die.pressure.pv", 9.0, 5, "DiePressureLow"),
        ("extruder.melt.temp.pv", 251.0, 5, "MeltTemperatureHigh"),
        ("extruder.drive.torque.pv", 93.0, 1, "TorqueHigh"),
        ("extruder.zone.1.temp.pv", 185.0, 10, "HeaterZoneDeviation"),
        ("filter.dp.calc", 61.0, 10, "ScreenDirty"),
        ("filter.wiper.state", 3.0, 2, "WiperFault"),
        ("filter.wiper.park.state", 0.0, 2, "WiperFault"),
        ("filter.discharge.temp.pv", 194.0, 10, "DischargeCold"),
        ("doser.rate.pv", 690.0, 10, "FeedDeviation"),
        ("doser.level.pv", 9.0, 5, "HopperLow"),
        ("extruder.vent.1.pressure.pv", 260.0, 30, "VacuumLost"),
        ("water.flow.pv", 11.0, 3, "WaterFlowLow"),
        ("water.supply.temp.pv", 55.2, 10, "WaterHot"),
        ("pelletizer.knife.pressure.pv", 1.4, 3, "KnifePressureLow"),
        ("dryer.current.pv", 20.5, 3, "DryerOverload"),
        ("pelletizer.closed.state", 0.0, 1, "ChamberOpen"),
    ],
)
def test_an_entry_comes_after_its_delay_and_goes_at_once(
    path: str, value: float, after_s: int, name: str
) -> None:
    machine = Machine().go(5)
    if after_s > 1:
        assert machine.with_values({path: value}, after_s - 1).active() == []
        machine.go(1)
    assert machine.with_values({path: value}, after_s).active() == [name]
    assert machine.go(1).active() == []


def test_a_heater_without_current_is_one_when_it_should_have_some() -> None:
    burnt = {"extruder.zone.1.out": 80.0, "extruder.zone.1.i": 0.0}
    assert Machine().with_values(burnt, 14).active() == []
    assert Machine().with_values(burnt, 15).active() == ["HeaterCurrentMissing"]
    assert Machine().with_values({**burnt, "extruder.zone.1.out": 40.0}, 60).active() == []


def test_there_is_a_little_hysteresis_and_beyond_it_an_entry_chatters() -> None:
    machine = Machine().with_values({"extruder.drive.torque.pv": 92.2}, 1)
    assert machine.with_values({"extruder.drive.torque.pv": 91.8}, 1).active() == ["TorqueHigh"]
    for _ in range(10):
        machine.with_values({"extruder.drive.torque.pv": 91.0}, 1)
        machine.with_values({"extruder.drive.torque.pv": 92.2}, 1)
    assert machine.changes == 21


def test_at_a_standstill_entries_stand_that_mean_nothing() -> None:
    standing = dict.fromkeys(("die.pressure.pv", "water.flow.pv", "pelletizer.knife.pressure.pv"), 0.0)
    cold = {
        "filter.discharge.temp.pv": 20.0,
        "extruder.enable.state": 0.0,
        "extruder.vent.1.pressure.pv": 1013.0,
    }
    machine = Machine().with_values({**standing, **cold}, 60)
    assert len(machine.active()) == 5
    assert len(machine.list.texts()) == 5


def test_a_value_that_the_controller_knows_to_be_none_changes_nothing() -> None:
    broken = {"extruder.zone.1.temp.pv": 1200.0}
    assert Machine().go(2).with_values(broken, 30, SENSOR_FAILURE).active() == []
    assert Machine().go(2).with_values(broken, 30).active() == ["HeaterZoneDeviation"]


def test_what_the_controls_say_raises_entries_and_a_reset_takes_them_back() -> None:
    machine = Machine().go(1)
    machine.list.hear([Message(1.0, "tripped", "motor overload", "stopped: torque 112 %")])
    assert machine.go(1).active() == ["LineTrip"]
    machine.list.hear([Message(2.0, "tripped", WIPER_DRIVE, "3 cleanings failed")])
    assert machine.go(1).active() == ["WiperFault", "LineTrip"]
    machine.list.hear([Message(3.0, "reset", "motor overload", "reset")])
    assert machine.go(1).active() == ["WiperFault"]
    assert machine.list.texts() == ["wiper fault (3 cleanings failed)"]


def test_a_refused_start_stands_for_ten_seconds() -> None:
    machine = Machine().go(1)
    machine.list.hear([Message(1.0, "refused", "screw", "screw not started: soak 22.0 of 30 min")])
    assert machine.go(10).active() == ["StartRefused"]
    assert "soak 22.0 of 30 min" in machine.list.texts()[0]
    assert machine.go(1).active() == []


def test_an_entry_that_went_stays_until_it_is_acknowledged() -> None:
    machine = Machine().with_values({"pelletizer.closed.state": 0.0}, 1).go(1)
    (alarm,) = [a for a in machine.list.alarms if a.retained]
    assert (alarm.active, alarm.acked) == (False, False)
    machine.list.acknowledge("ChamberOpen")
    assert not alarm.retained
    assert machine.with_values({"pelletizer.closed.state": 0.0}, 1).active() == ["ChamberOpen"]
    assert not alarm.acked


def test_the_list_is_short_and_each_entry_is_named_once() -> None:
    assert 15 <= len(KINDS) <= 20
    assert len({k.name for k in KINDS}) == len(KINDS)
    assert all(1 <= k.severity <= 1000 and k.delay_s >= 1 for k in KINDS)


def _machine_alarms(run: Run, seconds: Iterable[int], t0_ns: int, source: str) -> list[Event]:
    """What the list says of a run that is at the first of those seconds, each time an entry comes or goes."""
    publication, machine, events = Publication(Recorder(run), t0_ns), AlarmList(), []
    for second in seconds:
        samples = publication.at(second)
        machine.hear(run.plant.control.take_messages())
        events += [event_of(alarm, source) for alarm in machine.judge(samples)]
    return events


def test_a_played_start_gives_events_of_what_came_and_went(trial_day: Scenario) -> None:
    t0_ns = 1_900_000_000 * NS
    water_on = int(next(step.at_s for step in trial_day.steps if step.do == "water on"))
    run = Run(trial_day.without_faults())
    run.advance(water_on - 30)
    events = _machine_alarms(run, range(water_on - 30, water_on + 270), t0_ns, "line-1")
    assert {e.source for e in events} == {"line-1"}
    assert {e.kind for e in events} == {MACHINE_ALARM}
    assert [e.time_ns for e in events] == sorted(e.time_ns for e in events)
    came = {e.data["name"] for e in events if e.data["active"]}
    went = {e.data["name"] for e in events if not e.data["active"]}
    # Before the start it stands without water and pressure; both end with the start.
    assert {"WaterFlowLow", "DiePressureLow"} <= came & went


def test_a_refused_start_of_the_line_is_on_the_list(trial_day: Scenario) -> None:
    steps = (Step(5.0, "heating on"), Step(60.0, "screw on"))
    run = Run(replace(trial_day.without_faults(), steps=steps))
    events = _machine_alarms(run, range(90), 1_900_000_000 * NS, "line-1")
    (refused, gone) = [e for e in events if e.data["name"] == "StartRefused"]
    assert "soak 0.0 of 30 min" in refused.text
    assert "water 0.0 of" in refused.text
    assert (gone.time_ns - refused.time_ns) // NS == 10
