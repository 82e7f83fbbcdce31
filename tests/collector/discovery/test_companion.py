"""Machines after OPC 40084 map themselves, whatever is missing, in which order, unit and language it comes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.discovery import Finding, Standing, discover
from collector.discovery.companion_table import MACHINES, MACHINES_FOLDER, ROWS, MachineName, Row
from collector.reading.told_unit import ToldUnit
from historian.catalogue import meaning_of
from historian.tags import check_path
from tests.collector.discovery.spaces import PLASTICS, Growing, row_of, rows_of

OTHERS = {
    "bar": ["[psi]", "MPa", "kPa"],
    "Cel": ["[degF]", "K"],
    "kg/h": ["[lb_av]/h"],
    "/min": ["/s"],
    "kW": ["W"],
}


def found(growing: Growing, seed: int | None = None) -> dict[str, Finding]:
    """The findings by address."""
    return {f.address: f for f in discover(growing.space(seed)).findings}


@st.composite
def machines(draw: st.DrawFn) -> tuple[Growing, dict[str, str]]:
    """One machine of some of the types with some of their variables, and the tag of each by address."""
    growing, truth = Growing(), {}
    for kind in draw(st.sets(st.sampled_from(sorted(MACHINES)), min_size=1)):
        machine = growing.machine(kind, draw(st.sampled_from(["M", "Máquina 3", "机器", kind])) + kind)
        sure = [
            r for r in ROWS if r.machine == kind and r.tag and "ProductionParameters" not in r.steps[0].name
        ]
        for row in draw(st.lists(st.sampled_from(sure), unique=True, max_size=12)):
            numbered = any(s.name.endswith("#") for s in row.steps)
            for number in draw(st.sets(st.integers(1, 40), min_size=1, max_size=3)) if numbered else [1]:
                unit = meaning_of(row.tag.replace("#", "1"))
                other = draw(st.sampled_from(["", *OTHERS.get(unit.unit, [])])) if unit else "kg"
                truth[growing.row(machine, row, number=number, unit=other)] = row.tag.replace(
                    "#", str(number)
                )
        if kind == "Filter":
            plates = [a for a in growing.nodes if growing.nodes[a].name.startswith("TemperatureZone_")]
            for place, zone in enumerate(plates):
                growing.say(zone, "Name", f"Deska č. {place * 7}", PLASTICS)
    return growing, truth


@given(machines(), st.integers(0, 2**16))
@settings(max_examples=30, deadline=None)
def test_what_type_and_path_decide_is_mapped_in_any_order(
    made: tuple[Growing, dict[str, str]], seed: int
) -> None:
    growing, truth = made
    findings = found(growing, seed)
    assert {a: f.path for a, f in findings.items()} == truth
    assert {f.standing for f in findings.values()} <= {Standing.MAPPED}
    assert findings == found(growing)


@given(machines(), st.data())
@settings(max_examples=20, deadline=None)
def test_ways_twice_and_round_in_circles_change_nothing(
    made: tuple[Growing, dict[str, str]], data: st.DataObject
) -> None:
    growing, truth = made
    kinds = sorted(growing.types[n.type] for n in growing.nodes.values() if n.type in growing.types)
    line_type = "" if "ExtrusionLine" in kinds else MACHINES["ExtrusionLine"].type
    line = growing.add("i=85", "Line", type=line_type)
    for address in [a for a, n in growing.nodes.items() if n.type in growing.types and a != line]:
        growing.refer(growing.add(line, "Components"), address)
    nodes = st.sampled_from(sorted(a for a, n in growing.nodes.items() if n.told is None))
    back = st.sampled_from(["i=85", MACHINES_FOLDER, line])
    for _ in range(data.draw(st.integers(0, 5))):
        growing.refer(data.draw(nodes), data.draw(back))
    assert {a: f.path for a, f in found(growing).items()} == truth
    machines_found = [m.kind for m in discover(growing.space()).machines]
    assert sorted(machines_found) == sorted([*kinds, *(["ExtrusionLine"] if line_type else [])])


@given(
    st.lists(
        st.tuples(st.sampled_from(ROWS), st.integers(0, 12), st.sampled_from(["", None, "N.m", "%", "furlong"]),
                  st.text(max_size=8), st.integers(1, 2)),
        max_size=25,
    ),
    st.integers(0, 99),
)  # fmt: skip
@settings(max_examples=30, deadline=None)
def test_whatever_is_there_no_tag_is_kept_twice_and_every_path_is_one(
    planted: Sequence[tuple[Row, int, str | None, str, int]], seed: int
) -> None:
    growing = Growing()
    for row, number, unit, name, which in planted:
        machine = growing.machine(row.machine, f"{row.machine}{which}")
        node = growing.row(
            machine, row, number=number, unit=None if unit == "furlong" else unit, name=f"{name}_{number}"
        )
        if unit == "furlong":
            growing.say(node, "EngineeringUnits", ToldUnit(-1, unit))
    findings = discover(growing.space(seed)).findings
    paths = [check_path(f.path) for f in findings]
    assert len(set(paths)) == len(paths)
    for finding in findings:
        if finding.standing is not Standing.MAPPED:
            assert meaning_of(finding.path) is None, "what nobody has confirmed is not kept as a known tag"
    assert findings == discover(growing.space()).findings


@pytest.mark.parametrize("uri", ["urn:another", PLASTICS])
def test_a_zones_number_is_that_of_its_browse_name_in_whatever_namespace(uri: str) -> None:
    growing = Growing()
    machine = growing.machine("Extruder")
    zones = growing.add(machine, "TemperatureZones", uri=MACHINES["Extruder"].uri)
    zone = growing.add(zones, "TemperatureZone_12", uri=uri)
    growing.say(zone, "Name", "Zone 3", PLASTICS)
    value = growing.row(machine, row_of("Extruder", "extruder.zone.#.temp.pv"), number=12)
    # The row above grew a zone of its own; the value is moved to the maker's.
    growing.refer(zone, value)
    growing.nodes[zones] = replace(growing.nodes[zones], below=(zone,))
    finding = found(growing)[value]
    assert (finding.path, finding.text) == ("extruder.zone.12.temp.pv", "Zone 3")


def test_a_maker_s_subtype_is_the_machine_that_it_is_a_subtype_of() -> None:
    growing = Growing()
    growing.types[f"nsu={PLASTICS};i=9"] = "Filter"
    value = growing.row(
        growing.machine("Filter", type=f"nsu={PLASTICS};i=9"), row_of("Filter", "filter.wiper.speed.pv")
    )
    assert found(growing)[value].path == "filter.wiper.speed.pv"


def test_two_machines_of_a_type_are_numbered_and_asked_about_and_their_kinds_never_mixed() -> None:
    growing = Growing()
    row, other = row_of("Extruder", "extruder.screw.speed.pv"), row_of("Extruder", "extruder.zone.#.temp.pv")
    one, two = (growing.machine("Extruder", name) for name in ("Main", "Side"))
    first, second, only = growing.row(one, row), growing.row(two, row), growing.row(one, other, number=5)
    findings = found(growing)
    assert {a: findings[a].path for a in (first, second, only)} == {
        first: "extruder_1.screw.speed.pv",
        second: "extruder_2.screw.speed.pv",
        only: "extruder_1.zone.5.temp.pv",
    }
    assert {f.standing for f in findings.values()} == {Standing.CONFIRM}
    assert findings[only].becomes == "extruder.zone.5.temp.pv"
    assert "there are several of Extruder" in findings[first].reason
    assert [m.label for m in discover(growing.space()).machines] == [
        "Main (number 1 of its type)",
        "Side (number 2 of its type)",
    ]


def test_two_machines_that_have_nothing_in_common_are_asked_about_as_well() -> None:
    growing = Growing()
    one, two = growing.machine("Extruder", "A"), growing.machine("Extruder", "B")
    speed = growing.row(two, row_of("Extruder", "extruder.screw.speed.pv"))
    feed = growing.row(one, row_of("Extruder", "doser.rate.pv"))
    findings = found(growing)
    assert {a: (f.standing, f.path) for a, f in findings.items()} == {
        speed: (Standing.CONFIRM, "extruder_2.screw.speed.pv"),
        feed: (Standing.CONFIRM, "doser_1.rate.pv"),
    }


@pytest.mark.parametrize(
    ("feeders", "paths"),
    [({4}, ["doser.rate.pv"]), ({2, 5}, ["doser_2.rate.pv", "doser_5.rate.pv"])],
)
def test_one_feeder_is_the_doser_and_several_are_asked_about(feeders: set[int], paths: list[str]) -> None:
    growing = Growing()
    machine = growing.machine("Extruder")
    for number in feeders:
        growing.row(machine, row_of("Extruder", "doser.rate.pv"), number=number)
    assert sorted(f.path for f in found(growing).values()) == paths


def test_two_variables_for_one_tag_are_both_asked_about() -> None:
    growing = Growing()
    line = growing.machine("ExtrusionLine")
    for row in rows_of("ExtrusionLine", tag="line.power.pv"):
        growing.row(line, row)
    findings = list(found(growing).values())
    assert [f.standing for f in findings] == [Standing.CONFIRM] * 2
    assert {f.becomes for f in findings} == {"line.power.pv"}
    assert len({f.path for f in findings}) == 2


def test_a_torque_in_newton_metres_is_kept_apart_from_one_in_percent() -> None:
    growing = Growing()
    value = growing.row(
        growing.machine("Extruder"), row_of("Extruder", "extruder.drive.torque.pv"), unit="N.m"
    )
    finding = found(growing)[value]
    assert (finding.standing, finding.path, finding.unit) == (
        Standing.MAPPED,
        "extruder.main_drive.torque.pv",
        "N.m",
    )
    assert "N·m cannot become" in finding.reason


@pytest.mark.parametrize(
    "told", [None, ToldUnit(-1, "furlong"), ToldUnit(4405298, "1"), ToldUnit(-1, "bar(a)")]
)
def test_no_unit_or_one_that_cannot_be_meant_is_not_kept_as_the_tag(told: ToldUnit | None) -> None:
    growing = Growing()
    value = growing.row(
        growing.machine("Filter"), row_of("Filter", "filter.hydraulics.pressure.pv"), unit=None
    )
    if told is not None:
        growing.say(value, "EngineeringUnits", told)
    finding = found(growing)[value]
    assert finding.path == "filter.hydraulic_pressure.pv"
    is_absolute = told is not None and told.reference == "absolute"
    assert finding.standing is (Standing.MAPPED if is_absolute else Standing.CONFIRM)
    assert finding.becomes == ("" if is_absolute else "filter.hydraulics.pressure.pv")


def test_a_unit_by_text_alone_counts() -> None:
    growing = Growing()
    value = growing.row(
        growing.machine("Filter"), row_of("Filter", "filter.hydraulics.pressure.pv"), unit=None
    )
    growing.say(value, "EngineeringUnits", ToldUnit(-1, "bar(g)"))
    assert (found(growing)[value].path, found(growing)[value].unit) == (
        "filter.hydraulics.pressure.pv",
        "bar",
    )


def test_a_machine_that_counts_from_zero_is_asked_about() -> None:
    growing = Growing()
    value = growing.row(growing.machine("Extruder"), row_of("Extruder", "extruder.zone.#.temp.pv"), number=0)
    finding = found(growing)[value]
    assert (finding.standing, finding.becomes) == (Standing.CONFIRM, "")
    assert "counts from 0" in finding.reason


POINTS = [
    ("Filter", "MeltPressureZones", "Melt pressure before screen", "filter.inlet.pressure.pv"),
    ("Filter", "MeltPressureZones", "Massedruck nach Sieb", "filter.outlet.pressure.pv"),
    ("Filter", "MeltPressureZones", "Presión de masa antes del filtro", "filter.inlet.pressure.pv"),
    ("Filter", "MeltPressureZones", "Pressione fuso dopo il filtro", "filter.outlet.pressure.pv"),
    (
        "Filter",
        "MeltTemperatureZones",
        "Temperatura de masa después del filtro",
        "filter.outlet.melt_temp.pv",
    ),
    ("Extruder", "MeltPressureZones", "Massedruck Schneckenspitze", "extruder.head.pressure.pv"),
    ("Extruder", "MeltPressureZones", "Melt pressure before screen", "filter.inlet.pressure.pv"),
    ("MeltPump", "MeltPressures", "Massedruck vor Pumpe", "pump.inlet.pressure.pv"),
    ("MeltPump", "MeltPressures", "Pressione fuso dopo la pompa", "pump.outlet.pressure.pv"),
    ("Pelletizer", "PressureZones", "Presión de masa antes de la placa", "die.pressure.pv"),
    ("Pelletizer", "PressureZones", "Anpressdruck Messer", "pelletizer.knife.pressure.pv"),
    ("Filter", "MeltPressureZones", "PIC-4711", ""),
    ("Filter", "MeltPressureZones", "", ""),
    ("Filter", "MeltPressureZones", "before and after the screen", ""),
]


@pytest.mark.parametrize(("kind", "folder", "text", "becomes"), POINTS)
def test_a_point_is_proposed_by_its_text_and_never_kept_as_the_tag(
    kind: MachineName, folder: str, text: str, becomes: str
) -> None:
    growing = Growing()
    unit = "Cel" if "Temperature" in folder else "bar"
    value = growing.row(
        growing.machine(kind), rows_of(kind, folder=folder, leaf="ActualValue")[0], unit=unit, name="PT_3"
    )
    point = next(a for a, n in growing.nodes.items() if n.name == "PT_3")
    growing.say(point, "Name", text, PLASTICS)
    finding = found(growing)[value]
    assert (finding.standing, finding.becomes, finding.text) == (Standing.CONFIRM, becomes, text)
    assert finding.path.endswith(".pt_3.pv")
    if not becomes and text.startswith("PIC"):
        assert finding.readings == ("filter.inlet.pressure.pv", "filter.outlet.pressure.pv")


def test_a_vacuum_is_vent_one_only_when_it_is_the_only_one() -> None:
    growing = Growing()
    machine, row = (
        growing.machine("Extruder"),
        rows_of("Extruder", folder="VacuumZones", leaf="ActualValue")[0],
    )
    one = growing.row(machine, row, unit="mbar", name="V_9")
    assert found(growing)[one].becomes == "extruder.vent.1.pressure.pv"
    assert "absolute" in found(growing)[one].reason
    growing.row(machine, row, unit="mbar", name="V_2")
    assert {f.becomes for f in found(growing).values()} == {""}
