"""The signals of the melt filter: pressures, plates, wiper, hydraulics, discharge."""

from __future__ import annotations

from typing import TYPE_CHECKING

from simulator.gauges.line import Line, ripple_bar
from simulator.gauges.zone import zone_signals
from simulator.sensors import Signal
from simulator.sensors.kinds import (
    ANGLE,
    COUNTER,
    DIFFERENCE,
    DISCHARGE_TORQUE,
    EXACT,
    FINE_SPEED,
    INLET_PRESSURE,
    MELT_PRESSURE,
    MELT_PROBE,
    OIL_PRESSURE,
    SPEED,
    STEEL_PROBE,
    WIPER_TORQUE,
)

if TYPE_CHECKING:
    from simulator.machines.zones import Zone


def filter_signals(plant: Line) -> list[Signal]:
    """Everything that the filter's controller publishes."""
    f = plant.filter
    plates = [signal for plate in f.plates for signal in (*zone_signals(plate), _enabled(plate))]
    return [*_melt(plant), *plates, *zone_signals(f.block), *_wiper(plant), *_cleaning(plant)]


def _enabled(plate: Zone) -> Signal:
    return Signal(f"{plate.name}.enabled.state", lambda: float(not plate.taken_out), EXACT)


def _melt(plant: Line) -> list[Signal]:
    f, before = plant.filter, plant.before
    inlet, outlet = "filter.inlet.pressure.pv", "filter.outlet.pressure.pv"
    return [
        Signal(inlet, lambda: plant.inlet_bar + ripple_bar(plant), INLET_PRESSURE),
        Signal(outlet, lambda: plant.outlet_bar + ripple_bar(plant), MELT_PRESSURE),
        Signal("filter.dp.calc", lambda: plant.difference_bar, DIFFERENCE, (inlet, outlet)),
        Signal("filter.inlet.melt_temp.pv", lambda: before.out_cel, MELT_PROBE),
        Signal("filter.outlet.melt_temp.pv", lambda: f.out_cel, MELT_PROBE),
    ]


def _wiper(plant: Line) -> list[Signal]:
    f = plant.filter
    return [
        Signal("filter.wiper.state", lambda: float(f.state), EXACT),
        Signal("filter.wiper.angle.pv", lambda: f.angle_deg, ANGLE),
        Signal("filter.wiper.park.state", lambda: float(f.at_park), EXACT),
        Signal("filter.wiper.speed.pv", lambda: f.speed_min, FINE_SPEED),
        Signal("filter.wiper.torque.pv", lambda: f.torque_percent, WIPER_TORQUE),
        Signal("filter.wiper.contact.pressure.pv", lambda: f.contact_bar, OIL_PRESSURE),
        Signal("filter.hydraulics.pressure.pv", lambda: f.oil_bar, OIL_PRESSURE),
        Signal("filter.hydraulics.temp.pv", lambda: f.oil_cel, STEEL_PROBE),
    ]


def _cleaning(plant: Line) -> list[Signal]:
    f = plant.filter
    return [
        Signal("filter.wipe.count.total", lambda: float(f.wipes), COUNTER),
        Signal("filter.wipe.revs.total", lambda: float(int(f.revs)), COUNTER),
        Signal("filter.wipe.trigger.state", lambda: float(f.last_trigger), EXACT),
        Signal("filter.wipe.dp.sp", lambda: f.trigger_dp_bar, EXACT),
        Signal("filter.wipe.inlet.sp", lambda: f.trigger_inlet_bar, EXACT),
        Signal("filter.wipe.time.sp", lambda: f.longest_s, EXACT),
        Signal("filter.discharge.valve.state", lambda: float(f.discharge.valve_open), EXACT),
        Signal("filter.discharge.screw.speed.pv", lambda: f.discharge_screw_min, SPEED),
        Signal("filter.discharge.screw.torque.pv", lambda: f.discharge_torque_percent, DISCHARGE_TORQUE),
        Signal("filter.discharge.weight.total", lambda: f.scale_kg, COUNTER),
        Signal("filter.screen.fineness.state", lambda: f.screen.design.fineness_um, EXACT),
        Signal("filter.screen.area.state", lambda: 1.0e4 * f.screen.design.area_m2, EXACT),
    ]
