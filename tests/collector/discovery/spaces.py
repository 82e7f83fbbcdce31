"""Address spaces that tests grow: nodes by path, machines after OPC 40084 by row of the table."""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace

from collector.discovery.companion_table import MACHINES, MACHINES_FOLDER, ROWS, MachineName, Row
from collector.discovery.space import UA, Space, SpaceNode, Told, Value
from collector.reading.told_unit import ToldUnit
from historian.catalogue import meaning_of
from historian.units import UNECE, shown_unit

OWN = "urn:test:machine"
PLASTICS = "http://opcfoundation.org/UA/PlasticsRubber/GeneralTypes/"
DOUBLE, BOOLEAN, PROPERTY = "i=11", "i=1", "i=68"
# Of psi there are two numbers; the first one does not say what it counts from.
NUMBERS = {code: number for number, code in reversed(UNECE.items())}


@dataclass
class Growing:
    """A space under way.

    Attributes:
        nodes: by address.
    """

    nodes: dict[str, SpaceNode] = field(default_factory=dict)
    types: dict[str, str] = field(default_factory=lambda: {m.type: name for name, m in MACHINES.items()})
    _next: int = 100

    def __post_init__(self) -> None:
        for root in ("i=85", MACHINES_FOLDER):
            self.nodes[root] = SpaceNode(root, "", root)
        self.refer("i=85", MACHINES_FOLDER)

    def refer(self, parent: str, child: str) -> None:
        old = self.nodes[parent]
        self.nodes[parent] = replace(old, below=tuple(dict.fromkeys([*old.below, child])))

    def add(
        self,
        parent: str,
        name: str,
        *,
        uri: str = OWN,
        type: str = "",
        told: Told | None = None,
        shown: str = "",
        address: str = "",
    ) -> str:
        """A new node below another; the same one again when it is there."""
        for child in self.nodes[parent].below:
            if (self.nodes[child].uri, self.nodes[child].name) == (uri, name):
                if told is not None:
                    self.nodes[child] = replace(self.nodes[child], told=told)
                return child
        self._next += 1
        address = address or f"nsu={OWN};i={self._next}"
        self.nodes[address] = SpaceNode(address, uri, name, type, shown or name, (), told)
        self.refer(parent, address)
        return address

    def say(self, node: str, name: str, value: Value, uri: str = UA) -> None:
        """A property of a node."""
        self.add(node, name, uri=uri, type=PROPERTY, told=Told(value, "i=12"))

    def variable(
        self,
        path: str,
        value: Value = 1.5,
        unit: ToldUnit | None = None,
        *,
        text: str = "",
        data_type: str = DOUBLE,
    ) -> str:
        """A variable somewhere below the Objects folder."""
        node = "i=85"
        *folders, name = path.split("/")
        for folder in folders:
            node = self.add(node, folder)
        node = self.add(node, name, told=Told(value, data_type, True, text))
        if unit is not None:
            self.say(node, "EngineeringUnits", unit)
        return node

    def machine(self, kind: MachineName, name: str = "", *, type: str = "") -> str:
        """A machine in the folder of machines."""
        return self.add(MACHINES_FOLDER, name or kind, type=type or MACHINES[kind].type)

    def row(
        self,
        machine: str,
        row: Row,
        *,
        number: int = 1,
        unit: str | None = "",
        value: Value = 20.0,
        name: str = "P_7",
    ) -> str:
        """One variable of the table.

        Args:
            number: for every number in its path.
            unit: UCUM code; empty for the tag's own, None for none.
            name: browse name of a point.
        """
        node = machine
        for step in row.steps[:-1]:
            shown = (
                name if step.name == "*" else step.name.replace("#", str(number)).replace("%", str(number))
            )
            node = self.add(node, shown, uri=step.uri)
        meaning = meaning_of(row.tag.replace("#", str(number))) if row.tag else None
        data_type = BOOLEAN if isinstance(value, bool) else DOUBLE
        node = self.add(node, row.steps[-1].name, uri=row.steps[-1].uri, told=Told(value, data_type))
        code = unit if unit else meaning.unit if meaning is not None else "bar"
        if unit is not None and code != "1":
            self.say(node, "EngineeringUnits", told_unit(code))
        return node

    def space(self, seed: int | None = None) -> Space:
        """The space; a seed shuffles what comes in which order."""
        nodes = dict(self.nodes)
        if seed is not None:
            chance = random.Random(seed)
            order = list(nodes)
            chance.shuffle(order)
            nodes = {
                a: replace(nodes[a], below=tuple(chance.sample(nodes[a].below, len(nodes[a].below))))
                for a in order
            }
        return Space(nodes, ("i=85", MACHINES_FOLDER), self.types)


def told_unit(code: str) -> ToldUnit:
    """A unit as servers tell it."""
    return ToldUnit(NUMBERS.get(code, -1), shown_unit(code))


def rows_of(kind: MachineName, *, tag: str = "", folder: str = "", leaf: str = "") -> list[Row]:
    """Rows of the table."""
    return [
        r
        for r in ROWS
        if r.machine == kind
        and (not tag or r.tag == tag)
        and (not folder or r.steps[0].name == folder)
        and (not leaf or r.steps[-1].name == leaf)
    ]


def row_of(kind: MachineName, tag: str) -> Row:
    """The first row of a tag."""
    return rows_of(kind, tag=tag)[0]
