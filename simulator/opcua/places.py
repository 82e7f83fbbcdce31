"""Where a published signal stands in the server's address space, and the flat way to lay the signals out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from asyncua import ua
from asyncua.common.node import Node
from asyncua.server.server import Server
from asyncua.ua.attribute_ids import AttributeIds

from historian.tags import Tag, TagKind
from simulator.opcua.other_units import Shown, Units, shown_unit
from simulator.opcua.units import NAMESPACE as UNITS_NAMESPACE
from simulator.opcua.units import engineering_unit

NAMESPACE = "urn:meltledger:simulated-line"

_TYPES: Mapping[TagKind, ua.VariantType] = {
    TagKind.ANALOG: ua.VariantType.Double,
    TagKind.STEP: ua.VariantType.Double,
    TagKind.CODE: ua.VariantType.Int32,
    TagKind.BOOLEAN: ua.VariantType.Boolean,
}
_CASTS: Mapping[ua.VariantType, Callable[[float], float | int | bool]] = {
    ua.VariantType.Double: float,
    ua.VariantType.Int32: int,
    ua.VariantType.Boolean: bool,
}


@dataclass(frozen=True, slots=True)
class Place:
    """Where a signal is written, and as what.

    Attributes:
        id: of the variable.
        type: of its value.
        cast: the value there from the value in the tag's unit.
    """

    id: ua.NodeId
    type: ua.VariantType
    cast: Callable[[float], float | int | bool]


@dataclass(frozen=True, slots=True)
class Layout:
    """What was built.

    Attributes:
        places: for each tag, in order, where its value is written; empty for a tag that is not shown.
        machine: the object that stands for the line.
    """

    places: Sequence[tuple[Place, ...]]
    machine: Node


class Space(Protocol):
    """A way to lay signals out as nodes."""

    async def build(self, server: Server, tags: Sequence[Tag]) -> Layout:
        """Add the nodes to a server that does not listen yet."""
        ...


def kind_of(tag: Tag) -> ua.VariantType:
    """The type in which a tag's values are served."""
    return _TYPES[tag.kind]


def cast_of(kind: ua.VariantType) -> Callable[[float], float | int | bool]:
    """Makes a value of that type from a number."""
    return _CASTS[kind]


def converted(kind: ua.VariantType, shown: Shown) -> Callable[[float], float | int | bool]:
    """Makes a value of that type, in the unit shown, from a number in ours."""
    cast = cast_of(kind)
    return cast if shown == Shown(shown.unit) else lambda value: cast(shown.of(value))


def node_id(name: str, index: int) -> ua.NodeId:
    """A node id with a name, in that namespace."""
    return ua.NodeId(ua.String(name), ua.Int16(index))


def unit_information(ucum: str) -> ua.EUInformation:
    """The EngineeringUnits value of a UCUM code."""
    number, text = engineering_unit(ucum)
    return ua.EUInformation(
        NamespaceUri=UNITS_NAMESPACE,
        UnitId=number,
        DisplayName=ua.LocalizedText(text),
        Description=ua.LocalizedText(ucum),
    )


class FlatSpace:
    """One folder of variables, each named as its tag.

    Args:
        units: in which units they are shown.
        seed: draws the units.
    """

    def __init__(self, units: Units = "ours", seed: int = 1) -> None:
        self._units: Units = units
        self._seed = seed

    async def build(self, server: Server, tags: Sequence[Tag]) -> Layout:
        """Add the folder."""
        index = await server.register_namespace(NAMESPACE)
        folder = await server.nodes.objects.add_folder(
            node_id("simulated-line", index), ua.QualifiedName("SimulatedLine", index)
        )
        places = []
        for tag in tags:
            kind, shown = kind_of(tag), shown_unit(tag, self._units, self._seed)
            place = Place(node_id(tag.path, index), kind, converted(kind, shown))
            variable = await folder.add_variable(
                place.id, ua.QualifiedName(tag.path, index), ua.Variant(place.cast(0.0), kind)
            )
            await variable.write_attribute(
                AttributeIds.Description, ua.DataValue(ua.Variant(ua.LocalizedText(tag.text)))
            )
            await variable.add_property(
                node_id(f"{tag.path}/EngineeringUnits", index),
                ua.QualifiedName("EngineeringUnits", 0),
                unit_information(shown.unit),
            )
            places.append((place,))
        return Layout(places, folder)
