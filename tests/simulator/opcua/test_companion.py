"""Machines after OPC 40084: what a client browses agrees with the truth that the simulator tells."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest
from asyncua import Client, Node, ua

from historian.catalogue import CATALOGUE, canonical_tag
from historian.errors import WrongInput
from historian.tags import TagKind
from simulator.opcua.companion import NAMESPACE, CompanionSpace, Truth
from simulator.opcua.companion_table import spots
from simulator.opcua.nodesets import nodeset_files
from simulator.opcua.other_units import UNITS, Units
from simulator.opcua.times import moment_ns
from simulator.opcua.units import engineering_unit
from tests.support.served_line import Elsewhere, served_elsewhere
from tests.support.small_line import SmallLine, value

NODESETS = Path(__file__).resolve().parents[3].parent / "shared" / "opc40084" / "xml"
needs_nodesets = [
    pytest.mark.shared,
    pytest.mark.skipif(not NODESETS.is_dir(), reason="the published nodesets are not beside the project"),
]
T0_NS = 1_900_000_000 * 10**9
START_S = 9000
EXTRUSION = "http://opcfoundation.org/UA/PlasticsRubber/Extrusion_v2/"
PLASTICS = "http://opcfoundation.org/UA/PlasticsRubber/GeneralTypes/"
MACHINERY = "http://opcfoundation.org/UA/Machinery/"
TAGS = [canonical_tag(path.replace("*", n)) for path in CATALOGUE for n in ("21" if "*" in path else "1")]
# From ours: checked against published conversions, to the digits given here.
FACTORS = {
    "[psi]": (14.5038, 0.0), "MPa": (0.1, 0.0), "kPa": (100.0, 0.0), "[degF]": (1.8, 32.0), "K": (1.0, 273.15),
    "[lb_av]": (2.20462, 0.0), "[lb_av]/h": (2.20462, 0.0),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Served:
    """A companion server in a thread, with its truth."""

    line: Elsewhere
    space: CompanionSpace

    @property
    def endpoint(self) -> str:
        return self.line.serving.endpoint


@pytest.fixture(scope="module")
def companion() -> Iterator[Served]:
    """One server for the whole module: loading the nodesets takes seconds."""
    space = CompanionSpace(NODESETS, 7, names="de")
    feed = SmallLine(start_s=START_S, t0_ns=T0_NS, tags=tuple(TAGS))
    with served_elsewhere(feed, space=space, history=True, alarms=True) as line:
        yield Served(line, space)


async def _walk(client: Client, uris: Sequence[str], browse: Sequence[tuple[str, str]]) -> Node:
    """The node at the end of a path whose every step has its own namespace."""
    folder = client.get_node(ua.NodeId(1001, uris.index(MACHINERY)))
    return await folder.get_child([ua.QualifiedName(name, uris.index(uri)) for uri, name in browse])


def _id_of(node: Node, uris: Sequence[str]) -> str:
    return f"nsu={uris[node.nodeid.NamespaceIndex]};i={node.nodeid.Identifier}"


@pytest.mark.shared
@needs_nodesets[1]
async def test_a_value_is_read_by_a_path_across_namespaces(companion: Served) -> None:
    path = [
        (NAMESPACE, "Filter"),
        (EXTRUSION + "Filter/", "TemperatureZones"),
        (EXTRUSION + "GeneralTypes/", "TemperatureZone_1"),
        (PLASTICS, "ActualValue"),
    ]
    assert list(companion.space.truth["filter.plate.2.temp.pv"].browse) == path
    async with Client(companion.endpoint) as client:
        node = await _walk(client, await client.get_namespace_array(), path)
        value = await node.read_data_value()
        second, rest = divmod(moment_ns(value.SourceTimestamp) - T0_NS, 10**9)
        assert rest == 0 and second >= START_S


@pytest.mark.shared
@needs_nodesets[1]
async def test_the_truth_is_what_a_client_finds(companion: Served) -> None:
    truth = companion.space.truth
    async with Client(companion.endpoint) as client:
        uris = await client.get_namespace_array()
        for path, true in truth.items():
            node = await _walk(client, uris, true.browse)
            assert (path, _id_of(node, uris)) == (path, true.node_id)
            assert (path, await _unit(node)) == (path, _expected_unit(path, true))
            assert (path, await _name(node, true)) == (path, true.name)
    assert len({t.node_id for t in truth.values()}) == len(truth)
    assert {true.unit for true in truth.values()} & set(FACTORS)


async def _unit(node: Node) -> str | None:
    found = [
        p for p in await node.get_properties() if (await p.read_browse_name()).Name == "EngineeringUnits"
    ]
    if not found:
        return None
    unit = await found[0].read_value()
    assert unit.UnitId in (-1, engineering_unit(unit.Description.Text)[0])
    return str(unit.DisplayName.Text)


def _expected_unit(path: str, true: Truth) -> str | None:
    """Codes, switches and what the standard leaves without a unit say none."""
    if next(t for t in TAGS if t.path == path).kind in (TagKind.CODE, TagKind.BOOLEAN) or not true.unit:
        return None
    return engineering_unit(true.unit)[1]


async def _name(node: Node, true: Truth) -> str:
    """What the nearest object above calls itself."""
    if not true.name:
        return ""
    parent = node
    while True:
        parent = await parent.get_parent()
        names = [p for p in await parent.get_properties() if (await p.read_browse_name()).Name == "Name"]
        if names:
            text = await names[0].read_value()
            assert text.Locale == "de"
            return str(text.Text)


@pytest.mark.shared
@needs_nodesets[1]
async def test_values_are_the_lines_in_the_unit_shown(companion: Served) -> None:
    async with Client(companion.endpoint) as client:
        uris = await client.get_namespace_array()
        for column, tag in enumerate(TAGS):
            true = companion.space.truth.get(tag.path)
            if true is None:
                continue
            node = client.get_node(ua.NodeId(int(true.node_id.split("i=")[1]), uris.index(NAMESPACE)))
            at = ua.DateTime.fromtimestamp((T0_NS // 10**9) + START_S, tz=ua.get_win_epoch().tzinfo)
            first = (await node.read_raw_history(at, at, return_bounds=False))[0]
            # A bare number is in a unit that only the maker knows; the simulator keeps it in ours.
            shown = FACTORS.get(true.unit, (1.0, 0.0))
            expected = value(tag, column, START_S) * shown[0] + shown[1]
            assert (tag.path, float(first.Value.Value)) == (tag.path, pytest.approx(expected, rel=1e-5))


@pytest.mark.shared
@needs_nodesets[1]
async def test_machines_are_found_by_type_and_as_components_of_the_line(companion: Served) -> None:
    types = {"ExtrusionLine": 1003, "Extruder": 1015, "Filter": 1002, "MeltPump": 1002, "Pelletizer": 1004}
    async with Client(companion.endpoint) as client:
        uris = await client.get_namespace_array()
        folder = client.get_node(ua.NodeId(1001, uris.index(MACHINERY)))
        found = {
            d.BrowseName.Name: (uris[d.TypeDefinition.NamespaceIndex], d.TypeDefinition.Identifier)
            for d in await folder.get_children_descriptions()
        }
        expected = {name: (f"{EXTRUSION}{name}/", number) for name, number in types.items()}
        assert {n: found[n] for n in types} == expected
        line = await _walk(client, uris, [(NAMESPACE, "ExtrusionLine")])
        components = await line.get_child([ua.QualifiedName("Components", uris.index(MACHINERY))])
        assert {c.BrowseName.Name for c in await components.get_children_descriptions()} == set(types) - {
            "ExtrusionLine"
        }
        alarms = await line.get_child([ua.QualifiedName("AlarmList", uris.index(NAMESPACE))])
        assert all(isinstance(text, str) for text in await alarms.read_value())


@pytest.mark.shared
@needs_nodesets[1]
async def test_what_is_missing_is_not_there(companion: Served) -> None:
    space = companion.space
    paths = [tag.path for tag in TAGS]
    assert space.missing and space.missing | set(space.truth) == set(paths)
    assert not space.missing & set(space.truth)
    gone = next(s for s in spots(paths) if s.path in space.missing and s.folder[:1] == ("TemperatureZones",))
    async with Client(companion.endpoint) as client:
        uris = await client.get_namespace_array()
        sister = next(
            t
            for t in space.truth.values()
            if [n for _, n in t.browse][1:3] == list(gone.folder) and t.browse[0][1] == gone.machine
        )
        zone = await _walk(client, uris, sister.browse[:3])
        assert gone.leaf[0] not in {c.BrowseName.Name for c in await zone.get_children_descriptions()}


@pytest.mark.parametrize("seed", range(6))
def test_a_seed_draws_names_units_and_gaps_anew_and_the_same_each_time(seed: int) -> None:
    drawn = CompanionSpace(Path("x"), seed)._draw(TAGS)
    assert drawn == CompanionSpace(Path("x"), seed)._draw(TAGS)
    assert drawn != CompanionSpace(Path("x"), seed + 1)._draw(TAGS)
    below = [(d.spot.machine, *d.folder, *d.spot.leaf) for d in drawn.values()]
    assert len(set(below)) == len(below)
    essential = {s.path for s in spots(t.path for t in TAGS) if not s.optional}
    assert essential <= set(drawn)
    for path in drawn:
        if path.endswith(".temp.sp") and path.replace(".sp", ".pv") in drawn:
            assert drawn[path].shown == drawn[path.replace(".sp", ".pv")].shown


def test_the_languages_and_orders_differ_between_seeds() -> None:
    assert {CompanionSpace(Path("x"), seed).names for seed in range(20)} == {"en", "de", "es"}


def test_coded_names_tell_nobody_what_is_measured() -> None:
    drawn = CompanionSpace(Path("x"), 1, names="coded")._draw(TAGS)
    named = {path: d.name for path, d in drawn.items() if d.spot.texts}
    assert len(named) > 20
    assert all(re.fullmatch(r"[A-Z]{2,3}-\d{4}", name) for name in named.values())
    assert {d.locale for d in drawn.values()} == {""}
    # One sensor has one name, whatever is asked of it.
    assert named["extruder.zone.1.temp.pv"] == named["extruder.zone.1.mode.state"]
    assert len(set(named.values())) > 10


@pytest.mark.parametrize("share", [0.0, 1.0])
def test_as_much_is_missing_as_asked_for(share: float) -> None:
    optional = {s.path for s in spots(t.path for t in TAGS) if s.optional}
    shown = set(CompanionSpace(Path("x"), 1, missing=share)._draw(TAGS))
    assert {t.path for t in TAGS} - shown == (optional if share else set())


@pytest.mark.parametrize("units", UNITS)
def test_units_are_as_foreign_as_asked_for(units: Units) -> None:
    drawn = CompanionSpace(Path("x"), 1, units=units)._draw(TAGS)
    pressures = {drawn[t.path].shown.unit for t in TAGS if t.unit == "bar" and t.path in drawn}
    assert pressures <= {"bar", "[psi]", "MPa", "kPa"}
    assert (pressures == {"bar"}, "bar" in pressures) == {
        "ours": (True, True), "mixed": (False, True), "other": (False, False),
    }[units]  # fmt: skip


def test_a_line_without_a_pump_shows_none() -> None:
    tags = [t for t in TAGS if not t.path.startswith("pump.")]
    assert "MeltPump" not in {d.spot.machine for d in CompanionSpace(Path("x"), 1)._draw(tags).values()}


def test_a_folder_without_nodesets_is_told(tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match="name the folder of the published nodesets"):
        nodeset_files(tmp_path)
