"""The simulated line as machines after OPC 40084 v2: extruder, filter, pelletizer and the line.

Sensors' names, order and language, units and missing nodes are drawn by a seed, so that whoever discovers
them cannot lean on them; the truth is kept beside.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from asyncua import ua
from asyncua.common.node import Node
from asyncua.server.server import Server
from asyncua.ua.object_ids import ObjectIds

from historian.tags import Tag
from simulator.opcua.companion_table import LANGUAGES, Language, MachineName, Spot, spots
from simulator.opcua.nodesets import OPC, Grower, load_nodesets, write_property
from simulator.opcua.places import Layout, Place, cast_of, kind_of, unit_information

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
    "Pelletizer": ("Pelletizer/", 1004),
}
# Other units in which a machine may show what we have in the first: scale and offset from ours.
# Source: exact definitions (1 lb = 0.45359237 kg, 1 lbf = 4.4482216152605 N, 1 in = 25.4 mm).
_LB_KG = 0.45359237
_PSI_BAR = 4.4482216152605 / 0.0254**2 / 1e5
_OTHERS: Mapping[str, Sequence[tuple[str, float, float]]] = {
    "bar": (("[psi]", 1.0 / _PSI_BAR, 0.0), ("MPa", 0.1, 0.0)),
    "Cel": (("[degF]", 1.8, 32.0),),
    "kg": (("[lb_av]", 1.0 / _LB_KG, 0.0),),
    "kg/h": (("[lb_av]/h", 1.0 / _LB_KG, 0.0),),
}
_STEMS: Mapping[str, Sequence[str]] = {
    "MeltPressureZones": ("MeltPressure", "P", "PT", "Druck", "Presion"),
    "PressureZones": ("Pressure", "P", "PT", "Druck", "Presion"),
    "MeltTemperatureZones": ("MeltTemperature", "T", "TE", "Masse", "Temp"),
    "AdditionalMeasuringDevices": ("Sensor", "AI", "Messstelle", "Canal"),
}
_OTHER_UNIT_SHARE = 0.4
_TEXT_ONLY_SHARE = 0.15
_MISSING_SHARE = 0.12


@dataclass(frozen=True, slots=True)
class Truth:
    """Where a tag really stands.

    Attributes:
        node_id: with the namespace's URI: ``nsu=…;i=…``.
        unit: UCUM code of the served value.
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
    unit: str
    scale: float
    offset: float
    text_only: bool


class CompanionSpace:
    """Lays the signals out as OPC 40084 machines.

    Attributes:
        language: of the sensors' names.
        truth: where each tag stands, by path; once built.
        missing: paths of the tags that this machine does not show.
    """

    def __init__(self, nodesets: Path, seed: int, *, language: Language | None = None) -> None:
        self._nodesets = nodesets
        self._seed = seed
        drawn = random.Random(f"{seed} language").choice(LANGUAGES)
        self.language: Language = drawn if language is None else language
        self.truth: dict[str, Truth] = {}
        self.missing: frozenset[str] = frozenset()

    async def build(self, server: Server, tags: Sequence[Tag]) -> Layout:
        """Load the nodesets and add the machines.

        Raises:
            WrongInput: the folder holds no nodesets, or others.
        """
        await load_nodesets(server, self._nodesets)
        index = await server.register_namespace(NAMESPACE)
        build = _Build(server, index, await server.get_namespace_array(), self.language)
        machines = await build.machines(random.Random(f"{self._seed} machines"))
        drawn = self._draw(tags)
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
            if chance.random() < _MISSING_SHARE and spot.optional:
                continue
            unit, scale, offset = self._unit(tag)
            folder = (*spot.folder, names[spot.path]) if spot.drawn else spot.folder
            text_only = chance.random() < _TEXT_ONLY_SHARE
            drawn[tag.path] = _Drawn(spot, folder, unit, scale, offset, text_only)
        return drawn

    def _unit(self, tag: Tag) -> tuple[str, float, float]:
        """The unit in which a tag is shown; what one sensor measures and is set to has one unit."""
        chance = random.Random(f"{self._seed} unit {tag.path.rpartition('.')[0]}")
        others = _OTHERS.get(tag.unit, ())
        if others and chance.random() < _OTHER_UNIT_SHARE:
            return chance.choice(others)
        return tag.unit, 1.0, 0.0

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

    def __init__(self, server: Server, index: int, uris: Sequence[str], language: Language) -> None:
        self._server = server
        self._index = index
        self._uris = list(uris)
        self._language = language
        self._grower = Grower(index)

    async def machines(self, chance: random.Random) -> Mapping[MachineName, Node]:
        """The machines, in the folder of machines and as components of the line."""
        folder = self._typed(_MACHINERY, _MACHINES_FOLDER)
        names = list(_TYPES)
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
        if spot.leaf[-1] != "IsPresent" and kind == ua.VariantType.Double:
            await self._write_unit(variable, drawn)
        name = spot.texts.get(self._language, "")
        truth = Truth(
            f"nsu={NAMESPACE};i={variable.nodeid.Identifier!s}",
            drawn.unit,
            await self._browse([machine, *way]),
            name,
        )
        return Place(variable.nodeid, kind, _converted(kind, drawn.scale, drawn.offset)), truth

    async def _standard(self, machine: Node, drawn: _Drawn) -> list[Node]:
        way = await self._grower.grow(machine, [*drawn.folder, *drawn.spot.leaf])
        if drawn.spot.texts:
            holder = way[len(drawn.folder) - 1]
            text = ua.LocalizedText(drawn.spot.texts[self._language], self._language)
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
        unit = unit_information(drawn.unit)
        if drawn.text_only:
            unit.UnitId = ua.Int32(-1)
        await write_property(variable, self._index, "EngineeringUnits", ua.Variant(unit))

    async def _browse(self, way: Sequence[Node]) -> tuple[tuple[str, str], ...]:
        names = [await node.read_browse_name() for node in way]
        return tuple((self._uris[n.NamespaceIndex], n.Name) for n in names)


def _converted(kind: ua.VariantType, scale: float, offset: float) -> Callable[[float], float | int | bool]:
    cast = cast_of(kind)
    if (scale, offset) == (1.0, 0.0):
        return cast
    return lambda value: cast(value * scale + offset)
