"""Builds the plant that a scenario describes: its sheets become designs, its variation scales them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from simulator.controls.design import ControlDesign
from simulator.machines.doser import DoserDesign
from simulator.machines.extruder import BUMPER_EXTRUDER, ExtruderDesign
from simulator.machines.filter import FILM_FILTER, REGRIND_FILTER, FilterDesign, Trigger
from simulator.machines.material import Material
from simulator.machines.melt import POLYMERS, Polymer
from simulator.machines.melt_pump import MeltPumpDesign
from simulator.machines.pelletizing import FOR_LDPE, FOR_PP, PelletizingDesign
from simulator.machines.pipe import PipeDesign
from simulator.machines.screen import BlockingLaw
from simulator.machines.zone_design import ZoneDesign
from simulator.plant import STEP_S, Plant, PlantDesign
from simulator.scatter import ScatterDesign
from simulator.scenarios.scenario import LineSheet, MaterialSheet, MeltFlow, Scenario
from simulator.scenarios.variation import factor

_TRIGGERS = {
    "dp": Trigger.PRESSURE_DIFFERENCE,
    "inlet": Trigger.INLET_PRESSURE,
    "period": Trigger.CLOCK,
    "continuous": Trigger.CLOCK,
}
# Density of the pellets, kg/m3; where the holes of the die begin to freeze and return water makes lumps, Cel.
# common practice, no source.
_PELLETS = {
    "LDPE": (920.0, 150.0, 46.4),
    "HDPE": (950.0, 158.0, 58.0),
    "PP": (1030.0, 160.0, 58.0),
    "PS": (1045.0, 135.0, 72.0),
    "PA6": (1130.0, 205.0, 75.0),
}
_BIG_SCREEN_M2 = 0.1

Factors = Callable[[str], float]


def build(scenario: Scenario, dt_s: float = STEP_S) -> Plant:
    """The plant of the scenario, cold and switched off, its set-points as the scenario begins with."""
    plant = Plant(design_of(scenario), dt_s)
    filter_ = plant.filter
    filter_.trigger_mode = _TRIGGERS[scenario.line.wiper_trigger]
    filter_.continuous = scenario.line.wiper_trigger == "continuous"
    filter_.screen.serial = scenario.line.screen_serial
    return plant


def design_of(scenario: Scenario) -> PlantDesign:
    """The designs of all machines of the scenario's line."""
    variation = scenario.variation

    def varied(name: str) -> float:
        return factor(variation, name)

    line = scenario.line
    material = material_of(scenario.material, variation)
    polymer = material.polymer
    return PlantDesign(
        material=material,
        scatter=scenario.scatter,
        seed=scenario.seed,
        hall_cel=varied("hall_cel"),
        uneven=_uneven(varied),
        control=ControlDesign(soak_s=line.soak_s),
        doser=_doser(material),
        extruder=_extruder(line, polymer, varied),
        melt_pump=_melt_pump(line, varied) if line.melt_pump else None,
        filter=_filter(line, varied),
        pelletizing=_pelletizing(scenario, polymer, varied),
        before=PipeDesign(volume_l=2.0, loss_bar=5.4, reference_kg_h=line.planned_kg_h),
        after=PipeDesign(volume_l=2.7, loss_bar=3.6, reference_kg_h=line.planned_kg_h),
    )


def material_of(sheet: MaterialSheet, variation: Mapping[str, float]) -> Material:
    """The feed that a sheet describes."""
    polymer = POLYMERS[sheet.polymer]
    polymer = replace(
        polymer,
        consistency_pa_s_n=polymer.consistency_pa_s_n * factor(variation, "melt.viscosity"),
        exponent=polymer.exponent * factor(variation, "melt.exponent"),
    )
    return Material(
        name=sheet.form or sheet.polymer,
        polymer=polymer,
        bulk_density_kg_m3=sheet.bulk_density_kg_m3 * factor(variation, "material.bulk_density"),
        moisture_percent=sheet.moisture_percent * factor(variation, "material.moisture"),
        dirt_percent=sheet.dirt_percent * factor(variation, "material.dirt"),
        viscosity_factor=sheet.viscosity_factor,
        mfr_190_2_16=_rate(sheet.mfr, 190.0, 2.16),
        mfr_190_5=_rate(sheet.mfr, 190.0, 5.0),
        mfr_230_2_16=_rate(sheet.mfr, 230.0, 2.16),
        ash_percent=sheet.ash_percent,
        dsc_peaks_cel=sheet.dsc_peaks_cel,
    )


def _rate(rates: tuple[MeltFlow, ...], cel: float, load_kg: float) -> float | None:
    return next((r.g_10min for r in rates if (r.cel, r.load_kg) == (cel, load_kg)), None)


def _uneven(varied: Factors) -> ScatterDesign:
    usual = ScatterDesign()
    return replace(
        usual,
        dirt_sigma=usual.dirt_sigma * varied("material.dirt_scatter"),
        feed_walk_per_root_s=usual.feed_walk_per_root_s * varied("feed.walk"),
        hall_k=usual.hall_k * varied("hall.swing"),
        heater_sigma=usual.heater_sigma * varied("heater.scatter"),
    )


def _zone(zone: ZoneDesign, power_kw: float, varied: Factors) -> ZoneDesign:
    power_kw *= varied("heater.power")
    capacity = varied("heater.capacity")
    return replace(
        zone,
        power_kw=power_kw,
        nominal_a=zone.nominal_a * power_kw / zone.power_kw,
        capacity_kj_k=zone.capacity_kj_k * capacity,
        element_kj_k=zone.element_kj_k * capacity,
        loss_kw_k=zone.loss_kw_k * varied("heater.loss"),
        neighbour_kw_k=zone.neighbour_kw_k * varied("heater.coupling"),
        melt_kw_k=zone.melt_kw_k * varied("heater.melt_contact"),
        gain_per_k=zone.gain_per_k * varied("control.gain"),
        reset_s=zone.reset_s * varied("control.integral_s"),
        rate_s=zone.rate_s * varied("control.derivative_s"),
        probe_lag_s=zone.probe_lag_s * varied("probe.lag_s"),
    )


def _doser(material: Material) -> DoserDesign:
    """The hopper holds less of what is lighter than its level is scaled for."""
    usual = DoserDesign()
    most_kg_m3 = usual.full_density_kg_m3
    return replace(usual, start_kg=usual.start_kg * min(material.bulk_density_kg_m3, most_kg_m3) / most_kg_m3)


def _extruder(line: LineSheet, polymer: Polymer, varied: Factors) -> ExtruderDesign:
    """The machine of this size for the planned point: what it holds and drags goes with the flow."""
    usual, made_for = (
        (BUMPER_EXTRUDER, POLYMERS["PP"]) if polymer.name == "PP" else (ExtruderDesign(), POLYMERS["LDPE"])
    )
    screw = usual.screw
    size = line.planned_kg_h / screw.reference_kg_h
    speed = line.planned_screw_min / screw.reference_min
    density = made_for.density_kg_m3 / polymer.density_kg_m3
    work = polymer.drive_kwh_kg / made_for.drive_kwh_kg
    count = line.barrel_zones
    return replace(
        usual,
        setpoints_cel=tuple(_spread(usual.setpoints_cel, count)),
        zone=_zone(usual.zone, line.barrel_kw, varied),
        vent_zone=max(1, count - 1),
        vent=replace(usual.vent, pump_m3_h=usual.vent.pump_m3_h * max(size, 0.5)),
        screw=replace(
            screw,
            reference_kg_h=line.planned_kg_h,
            reference_min=line.planned_screw_min,
            lump_kg=screw.lump_kg * size * 5.0 / count,
            feed_litre=screw.feed_litre * size,
            full_kg=screw.full_kg * size,
            litre_per_turn=screw.litre_per_turn * size / speed * density,
            back_up=screw.back_up * size * size,
            film_kw=screw.film_kw * size,
        ),
        rated_kw=usual.rated_kw * size * work / varied("screw.torque"),
        rated_min=usual.rated_min * speed,
        rated_a=usual.rated_a * size * work / varied("screw.torque"),
    )


def _spread(values: tuple[float, ...], count: int) -> list[float]:
    """The same course over another number of zones, by straight lines between."""
    last = len(values) - 1
    spread = []
    for place in range(count):
        at = place * last / max(1, count - 1)
        low = min(int(at), last - 1)
        spread.append(values[low] + (values[low + 1] - values[low]) * (at - low))
    return spread


def _melt_pump(line: LineSheet, varied: Factors) -> MeltPumpDesign:
    usual = MeltPumpDesign()
    return replace(
        usual,
        zone=_zone(usual.zone, usual.zone.power_kw, varied),
        setpoints_cel=(usual.setpoints_cel[0],) * line.pump_zones,
    )


def _filter(line: LineSheet, varied: Factors) -> FilterDesign:
    area_m2 = line.screen_area_cm2 * 1e-4
    usual = FILM_FILTER if area_m2 > _BIG_SCREEN_M2 else REGRIND_FILTER
    wiper, resistance = usual.wiper, varied("screen.resistance")
    return replace(
        usual,
        plates=line.plates,
        plate=_zone(usual.plate, line.plate_kw, varied),
        block=_zone(usual.block, usual.block.power_kw, varied),
        screen=replace(
            usual.screen,
            area_m2=area_m2,
            fineness_um=line.fineness_um,
            thickness_mm=line.thickness_mm * resistance,
            open_share=line.open_share,
            law=BlockingLaw(line.blocking),
            cake_m_kg=line.cake_m_kg * varied("screen.cake"),
            retention=min(0.98, line.retention * varied("screen.retention")),
        ),
        wiper=replace(
            wiper,
            wipe_s=line.wipe_s,
            revs=line.wipe_revs,
            effectiveness=min(0.99, wiper.effectiveness * varied("wiper.effect")),
            rest_share=wiper.rest_share * varied("wiper.rest"),
            friction_percent=wiper.friction_percent * varied("wiper.torque"),
            contact_percent=wiper.contact_percent * varied("wiper.torque"),
            cake_percent=wiper.cake_percent * varied("wiper.torque"),
        ),
        discharge=replace(usual.discharge, carry_kg=line.carry_kg),
    )


def _pelletizing(scenario: Scenario, polymer: Polymer, varied: Factors) -> PelletizingDesign:
    line, settings = scenario.line, scenario.settings
    usual = FOR_PP if polymer.name == "PP" else FOR_LDPE
    density, freezes_cel, warm_cel = _PELLETS[polymer.name]
    flow_m3_h = settings.get("water.flow.sp", usual.water.flow_m3_h)
    knife_min = settings.get("pelletizer.knife.speed.sp", usual.knives.setpoint_min)
    knives, dryer = usual.knives, usual.dryer
    return replace(
        usual,
        die=replace(
            usual.die,
            holes=line.die_holes,
            hole_mm=line.hole_mm,
            land_mm=line.land_mm * varied("die.resistance"),
            zones=line.die_zones,
            ring=_zone(usual.die.ring, line.die_kw * line.die_zones, varied),
            reference_kg_h=line.planned_kg_h,
            freezes_cel=freezes_cel,
        ),
        knives=replace(
            knives,
            knives=line.knives,
            reference_kg_h=line.planned_kg_h,
            setpoint_min=knife_min,
            pellet_kg_m3=density,
            warm_cel=warm_cel,
            flow_torque=knives.flow_torque * varied("knife.torque"),
            contact_torque=knives.contact_torque * varied("knife.torque"),
        ),
        water=replace(
            usual.water,
            flow_m3_h=flow_m3_h,
            setpoint_cel=settings.get("water.supply.temp.sp", usual.water.setpoint_cel),
            cooler_kw_k=usual.water.cooler_kw_k * varied("water.cooler"),
            pump=replace(usual.water.pump, flow_m3_h=flow_m3_h),
        ),
        dryer=replace(dryer, reference_kg_h=line.planned_kg_h, load_a=dryer.load_a * varied("dryer.load")),
    )
