"""What each kind of fault writes, and that it writes nothing else."""

from __future__ import annotations

import re
from dataclasses import fields
from typing import Any

import pytest

from historian.catalogue import meaning_of
from simulator.faults import FAULTS, FaultOrder, tags_of, upsets_at, what_is_missing
from simulator.machines.upsets import ProbeState, Upsets

INLET = "filter.inlet.pressure.pv"

# Fault → what is no longer neutral at severity 1.
ZONE_WRITES: dict[str, dict[str, Any]] = {
    "open": {"power": 0.0},
    "half": {"power": 0.5},
    "third": {"power": pytest.approx(2.0 / 3.0)},
    "welded": {"welded": 1.0},
    "probe_break": {"probe": ProbeState.BREAK_UP},
    "probe_loose": {"probe": ProbeState.BREAK_UP},
    "probe_short": {"probe": ProbeState.BREAK_DOWN},
    "probe_reversed": {"probe": ProbeState.REVERSED},
    "probe_detached": {"probe": ProbeState.DETACHED, "probe_level": 1.0},
}
ZONES = {
    "plate": "filter.plate.2",
    "barrel": "extruder.zone.2",
    "die": "die.zone.2",
    "discharge": "filter.discharge",
    "pump": "pump.zone.2",
}
EVERY_THIRD = [
    f"{numbered}.{n}"
    for numbered in ("extruder.zone", "filter.plate", "die.zone", "pump.zone")
    for n in (1, 4, 7, 10)
]
WRITES: dict[str, dict[str, Any]] = {
    **{
        f"{word}_{name}": {f"zones.{zone}.{key}": value for key, value in written.items()}
        for word, zone in ZONES.items()
        for name, written in ZONE_WRITES.items()
    },
    **{
        f"{word}_probe_frozen": {
            f"zones.{zone}.probe": ProbeState.FROZEN,
            f"sensors.{zone}.temp.pv.frozen": True,
        }
        for word, zone in ZONES.items()
    },
    "plate_taken_out": {"zones.filter.plate.2.taken_out": True},
    "phase_loss": {f"zones.{zone}.power": 0.0 for zone in EVERY_THIRD},
    "undervoltage": {"mains_share": 0.85},
    "soak_short": {"soak_bypassed": True},
    "cold_start": {"soak_bypassed": True},
    "screen_blinding": {"rest_share": pytest.approx(0.06)},
    "cleaning_skipped": {"trigger_inhibited": True},
    "screen_torn": {"screen_tear": 1.0},
    "blade_worn": {"blade_wear": 1.0},
    "wiper_stall": {"wiper_stall": True},
    "wiper_slip": {"wiper_slip": 1.0},
    "park_missed": {"park_miss_deg": 25.0},
    "park_sensor_dead": {"park_sensor_dead": True},
    "discharge_blocked": {"discharge_block": 1.0},
    "discharge_leak": {"discharge_leak": 1.0},
    "thinner_melt": {"viscosity_factor": pytest.approx(0.6, abs=1e-4)},
    "stiffer_melt": {"viscosity_factor": pytest.approx(1.5, abs=1e-4)},
    "contam_up": {"dirt_factor": pytest.approx(2.2)},
    "throat_bridge": {"feed_bridge": 1.0},
    "light_feed": {"bulk_density_factor": 0.5},
    "doser_unweighed": {"volumetric": True},
    "surging": {"feed_surge": 1.0},
    "wet_feed": {"moisture_percent": 1.5},
    "residue": {"residue_share": 1.0, "residue_viscosity_factor": 2.0},
    "vent_flow": {"vent_flow": 1.0},
    "vacuum_leak": {"vacuum_leak": 1.0},
    "melt_line_restricted": {"melt_line_restriction": 1.0},
    "trip_bypassed": {"trip_bypassed": True},
    "motor_overload": {"screw_friction": 1.0},
    "holes_frozen": {"holes_frozen": 0.9},
    "die_drool": {"die_drool": 1.0},
    "knife_wear": {"knife_wear": 1.0},
    "knife_pressure_loss": {"knife_pressure_loss": 1.0},
    "knife_fast": {"knife_speed_error": 0.25},
    "knife_slow": {"knife_speed_error": -0.25},
    "dryer_overload": {"dryer_load": 1.0},
    "dryer_jam": {"dryer_jam": 1.0},
    "cooler_fouled": {"cooler_fouling": 1.0},
    "cooler_valve_open": {"cooler_valve_stuck": 1.0},
    "strainer_blocked": {"strainer_block": 1.0},
    "water_pump_loss": {"water_pump_loss": 1.0},
    "sensor_frozen": {f"sensors.{INLET}.frozen": True},
    "sensor_dead": {f"sensors.{INLET}.dead": True},
    "sensor_zero_up": {f"sensors.{INLET}.offset": 10.0},
    "sensor_zero_down": {f"sensors.{INLET}.offset": -10.0},
    "sensor_span": {f"sensors.{INLET}.gain": 1.2},
    "sensor_slow": {f"sensors.{INLET}.lag_s": 60.0},
    "samples_missing": {f"sensors.{INLET}.missing_share": 0.5},
    "source_held": {"sources.pelletizer.held": True},
    "source_lost": {"sources.pelletizer.lost": True},
    "clock_ahead": {"sources.pelletizer.clock_s": 10.0},
    "clock_behind": {"sources.pelletizer.clock_s": -10.0},
    "clock_jump": {"sources.pelletizer.clock_s": 60.0},
    "clock_jump_back": {"sources.pelletizer.clock_s": -60.0},
    "clock_hour": {"sources.pelletizer.clock_s": 3600.0},
}
# What is either there or not, whatever the severity.
SWITCHES = {
    name for name, written in WRITES.items() if not any(isinstance(v, float) for v in written.values())
}
SWITCHES -= {"screen_blinding", "contam_up", "thinner_melt", "stiffer_melt"} | {f"{w}_third" for w in ZONES}
SWITCHES |= {"clock_hour"}


def order_of(name: str, **more: Any) -> FaultOrder:
    """An order of that kind with all that it needs."""
    kind = FAULTS[name]
    return FaultOrder(
        "x",
        name,
        0.0,
        place=2 if kind.needs_place else None,
        tag=INLET if kind.needs_tag else "",
        source="pelletizer" if kind.needs_source else "",
        **more,
    )


def written(upsets: Upsets) -> dict[str, Any]:
    """Everything that is not neutral, flat."""
    neutral = Upsets()
    flat: dict[str, Any] = {}
    for field in fields(upsets):
        value = getattr(upsets, field.name)
        if not isinstance(value, dict):
            if value != getattr(neutral, field.name):
                flat[field.name] = value
            continue
        for key, part in value.items():
            sound: Any = type(part)()
            for inner in fields(part):
                if getattr(part, inner.name) != getattr(sound, inner.name):
                    flat[f"{field.name}.{key}.{inner.name}"] = getattr(part, inner.name)
    return flat


def _grown(name: str) -> float:
    """A second at which the fault is fully there, and a loose contact open."""
    if not name.endswith("probe_loose"):
        return 3000.0
    return next(s for s in range(200) if written(upsets_at(s, [order_of(name)])))


def test_the_table_knows_every_fault() -> None:
    assert set(WRITES) == set(FAULTS)


@pytest.mark.parametrize("name", list(FAULTS))
def test_a_fault_writes_what_it_says_and_nothing_else(name: str) -> None:
    assert written(upsets_at(_grown(name), [order_of(name)])) == WRITES[name]


@pytest.mark.parametrize("name", list(FAULTS))
def test_before_its_onset_and_well_after_its_end_a_fault_writes_nothing(name: str) -> None:
    order = FaultOrder(
        **{**{f.name: getattr(order_of(name), f.name) for f in fields(FaultOrder)}, "onset_s": 100.0}
    )
    assert written(upsets_at(99.0, [order])) == {}
    ended = FaultOrder(**{**{f.name: getattr(order, f.name) for f in fields(FaultOrder)}, "end_s": 200.0})
    assert written(upsets_at(5000.0, [ended])) == {}


@pytest.mark.parametrize("name", sorted(set(FAULTS) - SWITCHES))
def test_half_the_severity_does_less_of_the_same(name: str) -> None:
    half = written(upsets_at(3000.0, [order_of(name, severity=0.5)]))
    full = written(upsets_at(3000.0, [order_of(name)]))
    neutral = written(upsets_at(3000.0, [order_of(name, severity=1e-9)]))
    assert half.keys() == full.keys()
    for key, most in full.items():
        if isinstance(most, float):
            nothing = neutral.get(key, 1.0 if most > 1.0 and key.endswith("factor") else 0.0)
            if key.endswith("residue_viscosity_factor"):
                continue
            assert abs(half[key] - nothing) == pytest.approx(0.5 * abs(most - nothing), rel=0.13), key


@pytest.mark.parametrize("name", sorted(n for n in FAULTS if not n.endswith("probe_loose")))
def test_a_ramp_brings_it_on_without_a_step_back(name: str) -> None:
    order = order_of(name, ramp_s=600.0)
    before: dict[str, Any] = {}
    for second in range(0, 1200, 60):
        now = written(upsets_at(second, [order]))
        for key, value in now.items():
            if isinstance(value, float) and isinstance(before.get(key), float):
                towards = WRITES[name][key]
                end = float(towards.expected) if hasattr(towards, "expected") else towards
                assert abs(end - value) <= abs(end - before[key]) + 1e-9, key
        assert before.keys() <= now.keys()
        before = now


def test_every_entry_of_the_list_but_the_dip_at_the_start_has_a_kind() -> None:
    numbers = {kind.number for kind in FAULTS.values()}
    assert numbers == {f"B{n}" for n in range(1, 41)} - {"B10"}


@pytest.mark.parametrize("name", list(FAULTS))
def test_a_fault_says_what_it_is_where_it_shows_and_how_soon_it_is_due(name: str) -> None:
    kind = FAULTS[name]
    assert re.search(r"severity (1:|has no meaning|is their share)|the severity is", kind.text), kind.text
    assert 1 <= kind.severity <= 4
    assert kind.must_detect_within_s is None or kind.must_detect_within_s > 0.0
    tags = tags_of(order_of(name))
    assert bool(tags) != kind.needs_source
    for tag in tags:
        assert meaning_of(tag) is not None, tag


# The times at which a finding is due: minutes, as agreed for the demo scenarios.
@pytest.mark.parametrize(
    ("number", "minutes"),
    [
        ("B1", 6), ("B2", 45), ("B3", 2), ("B5", 1.5), ("B9", 5), ("B12", 15), ("B14", 0.5), ("B18", 0.25),
        ("B21", 40), ("B22", 2), ("B27", 1), ("B28", 5), ("B31", 1), ("B34", 15), ("B38", 0.5), ("B39", 0.25),
        ("B40", 5), ("B6", 30), ("B13", 6), ("B15", 15), ("B17", 8), ("B19", 1), ("B20", 9), ("B23", 10),
        ("B24", 3), ("B26", 100), ("B29", 12), ("B33", 5), ("B37", 1), ("B35", 15),
    ],
)  # fmt: skip
def test_findings_are_due_when_they_should_be(number: str, minutes: float) -> None:
    due = {kind.must_detect_within_s for kind in FAULTS.values() if kind.number == number}
    assert due == {minutes * 60.0}


@pytest.mark.parametrize(
    ("order", "words"),
    [
        (FaultOrder("x", "plate_open", 0.0), "needs 'place', the number of the filter.plate"),
        (FaultOrder("x", "discharge_open", 0.0, place=1), "has no 'place'"),
        (FaultOrder("x", "sensor_frozen", 0.0), "needs 'tag'"),
        (FaultOrder("x", "contam_up", 0.0, tag=INLET), "has no 'tag'"),
        (FaultOrder("x", "source_lost", 0.0), "needs 'source'"),
        (FaultOrder("x", "wiper_stall", 0.0, source="line"), "has no 'source'"),
        (FaultOrder("x", "plate_open", 0.0, place=3), ""),
        (FaultOrder("x", "sensor_frozen", 0.0, tag=INLET), ""),
        (FaultOrder("x", "source_lost", 0.0, source="filter"), ""),
    ],
)
def test_an_order_that_lacks_something_is_told_what(order: FaultOrder, words: str) -> None:
    said = what_is_missing(order)
    assert words in said
    assert bool(said) == bool(words)
