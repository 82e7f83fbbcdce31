"""The simulated line as machines after OPC 40084 v2: extruder, filter, pelletizer and the line.

Sensors' names, order and language, units and missing nodes are drawn by a seed, so that whoever discovers
them cannot lean on them; the truth is kept beside.
"""

from __future__ import annotations

import random
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal, get_args

from asyncua import ua
from asyncua.common.node import Node
from asyncua.server.server import Server
from asyncua.ua.object_ids import ObjectIds

from historian.tags import Tag
from simulator.opcua.companion_table import LANGUAGES, MachineName, Spot, spots
from simulator.opcua.nodesets import OPC, Grower, load_nodesets, write_property
from simulator.opcua.other_units import Shown, Units, shown_unit
from simulator.opcua.places import Layout, Place, cast_of, converted, kind_of, unit_information

NAMESPACE = "urn:meltledger:simulated-line:machines"

_EXTRUSION = f"{OPC}PlasticsRubber/Extrusion_v2/"
_PLASTICS = f"{OPC}PlasticsRubber/GeneralTypes/"
_MACHINERY = f"{OPC}Machinery/"
_MACHINES_FOLDER = 1001
# Namespace below ``Extrusion_v2/`` and number of each machine's type.
_TYPES: Mapping[MachineName, tuple[str, int]] = {
    "ExtrusionLine": ("ExtrusionLine/", 1003),
    "Extruder": ("Extruder/", 1015),
    "Filter": ("Filter/", 1002),
    "MeltPump": ("MeltPump/", 1002),
    "Pelletizer": ("Pelletizer/", 1004),
}
_STEMS: Mapping[str, Sequence[str]] = {
    "MeltPressureZones": ("MeltPressure", "P", "PT", "Druck", "Presion"),
    "MeltPressures": ("MeltPressure", "P", "PT", "Druck", "Presion"),
    "VacuumZones": ("Vacuum", "PV", "Vakuum", "Vacio"),
    "PressureZones": ("Pressure", "P", "PT", "Druck", "Presion"),
    "MeltTemperatureZones": ("MeltTemperature", "T", "TE", "Masse", "Temp"),
    "AdditionalMeasuringDevices": ("Sensor", "AI", "Messstelle", "Canal"),
}
_TEXT_ONLY_SHARE = 0.15
MISSING_SHARE: Final = 0.12
# Numbers as a plant's scheme gives them, which tell nobody what is measured.
_CODES = ("PIC", "TIC", "TI", "PI", "WI", "SI")


@dataclass(frozen=True, slots=True)
class Truth:
    """Where a tag really stands.

    Attributes:
        node_id: with the namespace's URI: ``nsu=…;i=…``.
        unit: UCUM code of the served value; empty where the node does not say it.
        browse: namespace URI and name of each step below the folder of machines.
        name: the sensor's or zone's name for people; empty where it has none.
    """

    node_id: str
    unit: str
    browse: tuple[tuple[str, str], ...]
    name: str


@dataclass(frozen=True, slots=True)
class _Drawn:
    """What chance decided for one tag."""

    spot: Spot
    folder: tuple[str, ...]
    shown: Shown
    text_only: bool
    name: str
    locale: str


Names = Literal["en", "de", "es", "coded"]
NAMES: Final[tuple[Names, ...]] = get_args(Names)


class CompanionSpace:
    """Lays the signals out as OPC 40084 machines.

    Args:
        nodesets: folder of the published nodesets.
        seed: draws names, order, units and what is missing.
        names: language of the sensors' and zones' names, or numbers of a plant's scheme; None: a language
            is drawn.
        units: in which units values are shown.
        missing: share of the nodes that the standard leaves optional, and which this machine goes without.

    Attributes:
        names: as above.
        truth: where each tag stands, by path; once built.
        missing: paths of the tags that this machine does not show; once built.
    """

    def __init__(
        self,
        nodesets: Path,
        seed: int,
        *,
        names: Names | None = None,
        units: Units = "mixed",
        missing: float = MISSING_SHARE,
    ) -> None:
        self._nodesets = nodesets
        self._seed = seed
        self._units: Units = units
        self._missing_share = missing
        drawn = random.Random(f"{seed} language").choice(LANGUAGES)
        self.names: Names = drawn if names is None else names
        self.truth: dict[str, Truth] = {}
        self.missing: frozenset[str] = frozenset()

    async def build(self, server: Server, tags: Sequence[Tag]) -> Layout:
        """Load the nodesets and add the machines.

        Raises:
            WrongInput: the folder holds no nodesets, or others.
        """
        await load_nodesets(server, self._nodesets)
        index = await server.register_namespace(NAMESPACE)
        build = _Build(server, index, await server.get_namespace_array())
        drawn = self._draw(tags)
        there: set[MachineName] = {"ExtrusionLine", *(d.spot.machine for d in drawn.values())}
        machines = await build.machines(random.Random(f"{self._seed} machines"), there)
        places: dict[str, Place] = {}
        self.truth = {}
        for tag in self._shuffled(tags):
            if tag.path in drawn:
                places[tag.path], self.truth[tag.path] = await build.show(tag, drawn[tag.path], machines)
        self.missing = frozenset(t.path for t in tags if t.path not in drawn)
        shown = [(places[t.path],) if t.path in places else () for t in tags]
        return Layout(shown, machines["ExtrusionLine"])

    def _shuffled(self, tags: Sequence[Tag]) -> list[Tag]:
        order = list(tags)
        random.Random(f"{self._seed} order").shuffle(order)
        return order

    def _draw(self, tags: Sequence[Tag]) -> Mapping[str, _Drawn]:
        where = spots(tag.path for tag in tags)
        names = self._sensor_names(where)
        drawn = {}
        for tag, spot in zip(tags, where, strict=True):
            chance = random.Random(f"{self._seed} {tag.path}")
            if chance.random() < self._missing_share and spot.optional:
                continue
            folder = (*spot.folder, names[spot.path]) if spot.drawn else spot.folder
            text_only = chance.random() < _TEXT_ONLY_SHARE
            shown = shown_unit(tag, self._units, self._seed)
            drawn[tag.path] = _Drawn(spot, folder, shown, text_only, *self._name(spot))
        return drawn

    def _name(self, spot: Spot) -> tuple[str, str]:
        """What a sensor or zone is called for people, and in which language."""
        if not spot.texts:
            return "", ""
        if self.names != "coded":
            return spot.texts[self.names], self.names
        chance = random.Random(f"{self._seed} {spot.machine} {spot.texts['en']}")
        return f"{chance.choice(_CODES)}-{chance.randrange(1000, 10_000)}", ""

    def _sensor_names(self, where: Sequence[Spot]) -> Mapping[str, str]:
        """A browse name for each sensor: one stem a folder, numbers in no order; by path of its tags."""
        names: dict[str, str] = {}
        sensors: dict[tuple[str, ...], dict[str, list[str]]] = {}
        for spot in where:
            if spot.drawn:
                folder = sensors.setdefault((spot.machine, *spot.folder), {})
                folder.setdefault(spot.texts["en"], []).append(spot.path)
        for folder_name, by_text in sensors.items():
            chance = random.Random(f"{self._seed} {folder_name}")
            stem = chance.choice(_STEMS[folder_name[-1]])
            numbers = chance.sample(range(1, len(by_text) + 3), len(by_text))
            for number, paths in zip(numbers, by_text.values(), strict=True):
                names |= dict.fromkeys(paths, f"{stem}_{number}")
        return names


class _Build:
    """One laying-out in one server."""

    def __init__(self, server: Server, index: int, uris: Sequence[str]) -> None:
        self._server = server
        self._index = index
        self._uris = list(uris)
        self._grower = Grower(index)

    async def machines(
        self, chance: random.Random, there: Collection[MachineName]
    ) -> Mapping[MachineName, Node]:
        """The machines that are there, in the folder of machines and as components of the line."""
        folder = self._typed(_MACHINERY, _MACHINES_FOLDER)
        names = [name for name in _TYPES if name in there]
        chance.shuffle(names)
        made: dict[MachineName, Node] = {}
        for name in names:
            uri, number = _TYPES[name]
            label = ua.QualifiedName(name, ua.Int16(self._index))
            made[name] = await self._grower.plant(folder, self._typed(_EXTRUSION + uri, number), label)
            await self._identify(made[name], name)
        components = (await self._grower.grow(made["ExtrusionLine"], ["Components"]))[0]
        for name in names:
            if name != "ExtrusionLine":
                await components.add_reference(made[name], ObjectIds.HasComponent)
        return made

    def _typed(self, uri: str, number: int) -> Node:
        return self._server.get_node(ua.NodeId(ua.Int32(number), ua.Int16(self._uris.index(uri))))

    async def _identify(self, machine: Node, name: str) -> None:
        values = {
            "Manufacturer": ua.Variant(ua.LocalizedText("Simulated")),
            "SerialNumber": ua.Variant(f"{name}-1"),
            "ProductInstanceUri": ua.Variant(f"{NAMESPACE}:{name}"),
        }
        block = (await self._grower.grow(machine, ["Identification"]))[0]
        for child in await block.get_children_descriptions():
            if child.BrowseName.Name in values:
                await self._server.get_node(child.NodeId).write_value(values[child.BrowseName.Name])

    async def show(
        self, tag: Tag, drawn: _Drawn, machines: Mapping[MachineName, Node]
    ) -> tuple[Place, Truth]:
        """Grow one tag's variable, with its unit and name."""
        spot = drawn.spot
        machine = machines[spot.machine]
        way = await self._own(tag, machine, spot) if spot.private else await self._standard(machine, drawn)
        variable, kind = way[-1], kind_of(tag)
        if kind == ua.VariantType.Double and not spot.bare:
            await self._write_unit(variable, drawn)
        truth = Truth(
            f"nsu={NAMESPACE};i={variable.nodeid.Identifier!s}",
            "" if spot.bare else drawn.shown.unit,
            await self._browse([machine, *way]),
            drawn.name,
        )
        return Place(variable.nodeid, kind, converted(kind, drawn.shown)), truth

    async def _standard(self, machine: Node, drawn: _Drawn) -> list[Node]:
        way = await self._grower.grow(machine, [*drawn.folder, *drawn.spot.leaf])
        if drawn.name:
            holder = way[len(drawn.folder) - 1]
            text = ua.LocalizedText(drawn.name, drawn.locale or None)
            plastics = self._uris.index(_PLASTICS)
            await write_property(holder, self._index, "Name", ua.Variant(text), standard=plastics)
            if drawn.spot.leaf[-1] != "IsPresent" and not drawn.spot.path.startswith("filter.plate."):
                present = ua.Variant(True)
                await write_property(holder, self._index, "IsPresent", present, standard=plastics)
        return way

    async def _own(self, tag: Tag, machine: Node, spot: Spot) -> list[Node]:
        holders = [
            c for c in await machine.get_children_descriptions() if c.BrowseName.Name == spot.folder[0]
        ]
        new = ua.NodeId(NamespaceIndex=ua.Int16(self._index))
        if holders:
            holder = self._server.get_node(holders[0].NodeId)
        else:
            holder = await machine.add_object(new, ua.QualifiedName(spot.folder[0], ua.Int16(self._index)))
        kind = kind_of(tag)
        variable = await holder.add_variable(
            ua.NodeId(NamespaceIndex=ua.Int16(self._index)),
            ua.QualifiedName(spot.leaf[0], ua.Int16(self._index)),
            ua.Variant(cast_of(kind)(0.0), kind),
        )
        return [holder, variable]

    async def _write_unit(self, variable: Node, drawn: _Drawn) -> None:
        unit = unit_information(drawn.shown.unit)
        if drawn.text_only:
            unit.UnitId = ua.Int32(-1)
        await write_property(variable, self._index, "EngineeringUnits", ua.Variant(unit))

    async def _browse(self, way: Sequence[Node]) -> tuple[tuple[str, str], ...]:
        names = [await node.read_browse_name() for node in way]
        return tuple((self._uris[n.NamespaceIndex], n.Name) for n in names)
