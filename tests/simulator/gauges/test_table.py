"""Which signals a line publishes: all of its machines', under canonical paths, and no hidden truth."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from math import isfinite

import pytest

from historian.catalogue import CATALOGUE, meaning_of
from historian.tags import TagKind
from simulator.gauges import signals_of, tag_of
from simulator.gauges.line import RIPPLE_BAR
from simulator.machines.doser import Doser, DoserDesign
from simulator.machines.extruder import Extruder, ExtruderDesign
from simulator.machines.filter import FilterDesign, MeltFilter
from simulator.machines.material import MATERIALS
from simulator.machines.melt_pump import MeltPump, MeltPumpDesign
from simulator.machines.meters import Meters, MetersDesign
from simulator.machines.pelletizing import Pelletizing, PelletizingDesign
from simulator.machines.pipe import MeltPipe, PipeDesign
from simulator.machines.site import Site
from simulator.machines.upsets import ProbeState, Upsets

MATERIAL = MATERIALS["film"]
COLD = 20.0
# What only a person or a laboratory tells, and what the edge works out itself.
NOT_OF_A_MACHINE = ("src.", "edge.", "feed.")
NOT_OF_A_MACHINE_ENDS = (".lab", ".cmd")


@dataclass
class StandingLine:
    """The machines side by side, not connected."""

    doser: Doser = field(default_factory=lambda: Doser(DoserDesign(), MATERIAL, start_cel=COLD))
    extruder: Extruder = field(default_factory=lambda: Extruder(ExtruderDesign(), MATERIAL, start_cel=COLD))
    pump: MeltPump | None = None
    before: MeltPipe = field(
        default_factory=lambda: MeltPipe(
            PipeDesign(volume_l=2.0, loss_bar=5.4), MATERIAL.polymer, start_cel=COLD
        )
    )
    filter: MeltFilter = field(
        default_factory=lambda: MeltFilter(FilterDesign(), MATERIAL.polymer, start_cel=COLD)
    )
    pelletizing: Pelletizing = field(
        default_factory=lambda: Pelletizing(PelletizingDesign(), MATERIAL.polymer, start_cel=COLD)
    )
    site: Site = field(default_factory=Site)
    meters: Meters = field(default_factory=lambda: Meters(MetersDesign(), Site()))
    inlet_bar: float = 100.0
    outlet_bar: float = 60.0
    die_bar: float = 57.0
    head_bar: float = 105.0
    difference_bar: float = 40.0


@pytest.fixture
def line() -> StandingLine:
    return StandingLine()


def _with_pump() -> StandingLine:
    return StandingLine(pump=MeltPump(MeltPumpDesign(), MATERIAL.polymer, start_cel=COLD))


def test_a_line_publishes_some_hundred_and_fifty_signals(line: StandingLine) -> None:
    assert (len(line.extruder.zones), len(line.filter.plates)) == (5, 8)
    paths = [s.path for s in signals_of(line)]
    assert 150 <= len(paths) <= 200
    assert [p for p, n in Counter(paths).items() if n > 1] == []


def test_only_canonical_paths_are_published_and_no_machines_tag_is_left_out() -> None:
    published = {s.path for s in signals_of(_with_pump())}
    assert {p for p in published if meaning_of(p) is None} == set()
    patterns = {tag_pattern for p in published for tag_pattern in [_pattern(p)]}
    expected = {
        p for p in CATALOGUE if not p.startswith(NOT_OF_A_MACHINE) and not p.endswith(NOT_OF_A_MACHINE_ENDS)
    }
    assert expected - patterns == set()


def _pattern(path: str) -> str:
    return ".".join("*" if part.isdigit() else part for part in path.split("."))


def test_a_pump_adds_its_own_signals_only(line: StandingLine) -> None:
    without = [s.path for s in signals_of(line)]
    added = {s.path for s in signals_of(_with_pump())} - set(without)
    assert added and all(p.startswith("pump.") for p in added)


def test_every_reading_is_a_number_within_its_range() -> None:
    for signal in signals_of(_with_pump()):
        value = signal.read()
        meaning = meaning_of(signal.path)
        assert type(value) is float, signal.path
        assert meaning is not None and isfinite(value), signal.path
        assert meaning.low <= value <= meaning.high, (signal.path, value)
        if meaning.codes:
            assert int(value) in meaning.codes, (signal.path, value)


def test_what_holds_has_no_noise_and_what_is_measured_scatters() -> None:
    for signal in signals_of(_with_pump()):
        sensor = signal.sensor
        if tag_of(signal.path, "plc").holds:
            assert (sensor.sigma, sensor.missing_share, sensor.decimals) == (0.0, 0.0, None), signal.path
        else:
            assert (sensor.missing_share, sensor.jitter_s) == (0.0005, 0.08), signal.path
            assert sensor.sigma > 0.0 or signal.path in {
                "filter.dp.calc",
                "filter.wiper.angle.pv",
                "pump.flow.calc",
            }


def test_fast_are_pressures_torques_and_the_wipers_angle(line: StandingLine) -> None:
    assert {s.path for s in signals_of(line) if s.sensor.fast} == {
        "extruder.drive.torque.pv",
        "extruder.head.pressure.pv",
        "filter.inlet.pressure.pv",
        "filter.outlet.pressure.pv",
        "filter.dp.calc",
        "filter.wiper.angle.pv",
        "filter.wiper.torque.pv",
        "filter.discharge.screw.torque.pv",
        "die.pressure.pv",
        "pelletizer.knife.torque.pv",
    }


def test_no_signal_shows_hidden_truth() -> None:
    line = _with_pump()
    signals = signals_of(line)
    before = {s.path: s.read() for s in signals}
    assert line.pump is not None
    die, knives = line.pelletizing.die, line.pelletizing.knives
    zones = (*line.extruder.zones, *line.filter.plates, line.filter.block, *die.zones, *line.pump.zones)
    for zone in zones:
        zone.true_cel += 31.0
        zone.element_cel += 67.0
    line.filter.screen.load_kg += 0.7
    line.filter.screen.lasting_1_m += 1.0e6
    die.open_holes = 0.5
    knives.length_mm = knives.mass_mg = 9.0
    knives.tails_percent = knives.agglomerates_percent = 5.0
    line.doser.rate_kg_h += 300.0
    changed = {path for path, value in before.items() if {s.path: s for s in signals}[path].read() != value}
    assert changed == set()
    # The check can fail: what a sensor does see shows.
    zones[0].sensed_cel += 31.0
    assert {s.path for s in signals if s.read() != before[s.path]} == {"extruder.zone.1.temp.pv"}


def test_a_frozen_thermocouple_shows_one_value_while_the_steel_cools(line: StandingLine) -> None:
    plate = line.filter.plates[2]
    plate.true_cel = plate.element_cel = plate.sensed_cel = 215.0
    upsets, site = Upsets(), Site()
    signal = next(s for s in signals_of(line) if s.path == "filter.plate.3.temp.pv")
    sound = []
    for second in range(240):
        if second == 60:
            upsets.zone("filter.plate.3").probe = ProbeState.FROZEN
        plate.step(1.0, site, upsets, 0.0)
        sound.append(signal.read())
    assert len(set(sound[61:])) == 1
    assert plate.true_cel < sound[-1] - 2.0


def test_the_screw_ripples_every_melt_pressure_alike(line: StandingLine) -> None:
    paths = [
        "extruder.head.pressure.pv",
        "filter.inlet.pressure.pv",
        "filter.outlet.pressure.pv",
        "die.pressure.pv",
    ]
    reads = [next(s.read for s in signals_of(line) if s.path == p) for p in paths]
    at_rest = [read() for read in reads]
    assert at_rest == [105.0, 100.0, 60.0, 57.0]
    line.extruder.screw_min, line.extruder.screw_turn = 95.0, 0.25
    assert [read() - rest for read, rest in zip(reads, at_rest, strict=True)] == pytest.approx(
        [RIPPLE_BAR] * 4
    )
    line.extruder.screw_turn = 0.75
    assert reads[0]() == pytest.approx(105.0 - RIPPLE_BAR)


def test_the_line_says_how_far_it_is(line: StandingLine) -> None:
    state, drive = (
        next(s.read for s in signals_of(line) if s.path == p) for p in ("line.state", "extruder.state")
    )
    assert (state(), drive()) == (1.0, 2.0)
    zones = [*line.extruder.zones, *line.filter.plates, line.filter.block, *line.pelletizing.die.zones]
    for zone in zones:
        zone.enabled = True
    assert state() == 2.0
    for zone in zones:
        zone.sensed_cel = zone.setpoint_cel
    zones[7].taken_out, zones[7].sensed_cel = True, 150.0
    assert state() == 3.0
    line.extruder.enabled = True
    assert drive() == 3.0
    line.extruder.screw_min = 40.0
    assert (state(), drive()) == (5.0, 4.0)
    line.extruder.screw.flow_kg_s = 0.1
    assert state() == 4.0
    line.extruder.enabled = False
    assert drive() == 5.0


def test_further_knobs_and_made_up_channels_come_last(line: StandingLine) -> None:
    known = len(signals_of(line))
    knobs = {"filter.wipe.dp.sp": lambda: -1.0, "filter.own.sp": lambda: 7.0}
    signals = signals_of(line, 2, knobs=knobs)
    assert [s.path for s in signals[known:]] == ["filter.own.sp", "aux.channel.1.pv", "aux.channel.2.pv"]
    assert next(s for s in signals if s.path == "filter.wipe.dp.sp").read() == 45.0
    assert tag_of("aux.channel.1.pv", "plc").text
    tag = tag_of("filter.wipe.dp.sp", "plc")
    assert (tag.unit, tag.kind, tag.source, tag.simulated) == ("bar", TagKind.STEP, "plc", True)


def test_a_filter_with_seven_plates_has_their_signals(line: StandingLine) -> None:
    small = replace(
        line, filter=MeltFilter(replace(FilterDesign(), plates=7), MATERIAL.polymer, start_cel=COLD)
    )
    plates = {s.path for s in signals_of(small) if s.path.startswith("filter.plate.")}
    assert len(plates) == 7 * 6
