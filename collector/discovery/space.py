"""What was found at a server: its objects and variables, and how they hang together."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from collector.reading.told_unit import ToldUnit

UA: Final = "http://opcfoundation.org/UA/"
"""The namespace of OPC UA itself."""

DURATION: Final = "i=290"
"""A time in milliseconds. Source: OPC 10000-3, 8.13."""

_FLOATS: Final = frozenset({"i=10", "i=11", "i=26", DURATION})
_INTEGERS: Final = frozenset(f"i={n}" for n in (*range(2, 10), 27, 28, 29))
_BOOLEAN: Final = "i=1"


@dataclass(frozen=True, slots=True)
class Span:
    """A range as a server tells it."""

    low: float
    high: float


Value = float | int | bool | str | ToldUnit | Span | None
"""What a variable holds, as far as it counts here; None for nothing, and for what is none of these."""


@dataclass(frozen=True, slots=True)
class Told:
    """What a variable says of itself.

    Attributes:
        value: what it holds now.
        data_type: node of its data type, written as ``SpaceNode.address`` is.
        is_scalar: whether it holds one value, not a list.
        text: its description, for a person.
    """

    value: Value = None
    data_type: str = ""
    is_scalar: bool = True
    text: str = ""

    @property
    def is_number(self) -> bool:
        """Whether a sample of it is a number; booleans and enumerations are."""
        if not self.is_scalar:
            return False
        if isinstance(self.value, bool | int | float):
            return True
        return self.value is None and (self.data_type in _FLOATS | _INTEGERS or self.data_type == _BOOLEAN)

    @property
    def counts(self) -> bool:
        """Whether it holds whole numbers or a truth value, which need no unit."""
        if isinstance(self.value, bool | int):
            return True
        return self.value is None and (self.data_type in _INTEGERS or self.data_type == _BOOLEAN)


@dataclass(frozen=True, slots=True)
class SpaceNode:
    """One node.

    Attributes:
        address: how a line's file writes it: ``nsu=URI;s=NAME``, ``i=85`` for OPC UA's own.
        uri, name: its browse name.
        type: node of its type definition, written the same way; empty for none.
        shown: its display name.
        below: the nodes that it has, as addresses, each once.
        told: what it says of itself; None for an object.
    """

    address: str
    uri: str
    name: str
    type: str = ""
    shown: str = ""
    below: tuple[str, ...] = ()
    told: Told | None = None


@dataclass(frozen=True, slots=True)
class Space:
    """An address space, as far as it was looked at.

    Attributes:
        nodes: by address; cycles and nodes that are reached in several ways are normal.
        roots: where the looking began.
        machines: types of machines and all their subtypes → the machine's name in the standard.
        left_out: what was not looked at, in sentences.
    """

    nodes: Mapping[str, SpaceNode]
    roots: tuple[str, ...]
    machines: Mapping[str, str] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()

    def children(self, node: SpaceNode) -> Iterator[SpaceNode]:
        """What a node has, as far as it was looked at."""
        for address in node.below:
            if (child := self.nodes.get(address)) is not None:
                yield child

    def property(self, node: SpaceNode, name: str, uri: str | None = UA) -> Value:
        """What a node's property holds; None where it has none.

        Args:
            uri: of its name; None for any.
        """
        for child in self.children(node):
            if child.name == name and child.told is not None and uri in (None, child.uri):
                return child.told.value
        return None

    def unit(self, node: SpaceNode) -> ToldUnit | None:
        """The unit that a variable says it has."""
        told = self.property(node, "EngineeringUnits")
        return told if isinstance(told, ToldUnit) else None

    def span(self, node: SpaceNode) -> Span | None:
        """The range that a variable is scaled for, where it says one that can be meant."""
        told = self.property(node, "EURange")
        is_one = isinstance(told, Span) and math.isfinite(told.low) and told.low < told.high < math.inf
        return told if isinstance(told, Span) and is_one else None

    def ways(self) -> dict[str, tuple[str, ...]]:
        """The shortest way to each node, as addresses from below a root down to it."""
        found: dict[str, tuple[str, ...]] = dict.fromkeys(self.roots, ())
        line = list(self.roots)
        for address in line:
            node = self.nodes.get(address)
            for below in node.below if node is not None else ():
                if below not in found and below in self.nodes:
                    found[below] = (*found[address], below)
                    line.append(below)
        return found


def number_of(value: Value) -> float | None:
    """What a variable holds as a measured number; None for a truth value and for what is none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if math.isfinite(value) else None
