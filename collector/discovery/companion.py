"""Finds machines after OPC 40084 v2, and which of their variables stand where the table has a tag."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import cast

from collector.discovery.companion_table import MACHINES, ROWS, MachineName, Row, Step
from collector.discovery.space import Space, SpaceNode

_ORDER = list(MACHINES)


@dataclass(frozen=True, slots=True)
class FoundMachine:
    """A machine whose type says what it is.

    Attributes:
        node: it.
        kind: its type in the standard.
        number: among those of its type, from 1; 0 when it is the only one.
        about: what its identification says, for a person.
    """

    node: SpaceNode
    kind: MachineName
    number: int = 0
    about: str = ""

    @property
    def label(self) -> str:
        """What a person calls it."""
        name = self.node.name
        return f"{name} (number {self.number} of its type)" if self.number else name

    @property
    def prefix(self) -> str:
        """First word of neutral paths below it."""
        prefix = MACHINES[self.kind].prefix
        return f"{prefix}_{self.number}" if self.number else prefix


@dataclass(frozen=True, slots=True)
class Claim:
    """A variable that stands where the table has a tag.

    Attributes:
        row: of the table.
        machine: whose it is.
        way: from below the machine down to the variable.
        place: the place number in the path; None for none.
        inner: number of the machine in the machine; None for none.
    """

    row: Row
    machine: FoundMachine
    way: tuple[SpaceNode, ...]
    place: int | None = None
    inner: int | None = None

    @property
    def tag(self) -> str:
        """The tag that the table has for it; empty where only a free text tells."""
        return self.row.tag.replace("#", str(self.place))

    @property
    def node(self) -> SpaceNode:
        """The variable."""
        return self.way[-1]

    @property
    def instance(self) -> tuple[MachineName, str, int, str, int]:
        """The machine, or the machine in the machine; those of one family sort as they are numbered."""
        kind, inner = self.row.family
        return kind, inner, self.machine.number, self.machine.node.address, self.inner or 0

    @property
    def names(self) -> list[str]:
        """Browse names down to it."""
        return [n.name for n in self.way]


def machines_of(space: Space) -> list[FoundMachine]:
    """The machines of a server, each once, in an order that does not depend on how they were found."""
    found = [
        (cast(MachineName, space.machines[n.type]), n)
        for n in space.nodes.values()
        if n.told is None and n.type in space.machines
    ]
    found.sort(key=lambda kn: (_ORDER.index(kn[0]), kn[1].name, kn[1].address))
    times = Counter(kind for kind, _ in found)
    seen: Counter[str] = Counter()
    machines = []
    for kind, node in found:
        seen[kind] += 1
        number = seen[kind] if times[kind] > 1 else 0
        machines.append(FoundMachine(node, kind, number, _about(space, node)))
    return machines


def claims_of(space: Space, machine: FoundMachine) -> Iterator[Claim]:
    """The machine's variables that the table knows; whatever it does without is simply not there."""
    claimed: set[str] = set()
    for row in ROWS:
        if row.machine != machine.kind:
            continue
        for claim in _matches(space, Claim(row, machine, ()), machine.node, row.steps):
            if claim.node.address not in claimed:
                claimed.add(claim.node.address)
                yield claim


def _matches(space: Space, so_far: Claim, node: SpaceNode, steps: Sequence[Step]) -> Iterator[Claim]:
    for child in space.children(node):
        number = _step_taken(steps[0], child)
        if number is None:
            continue
        name = steps[0].name
        claim = Claim(
            so_far.row,
            so_far.machine,
            (*so_far.way, child),
            number if name.endswith("#") else so_far.place,
            number if name.endswith("%") else so_far.inner,
        )
        if len(steps) > 1:
            yield from _matches(space, claim, child, steps[1:])
        elif child.told is not None and child.told.is_number:
            yield claim


def _step_taken(step: Step, node: SpaceNode) -> int | None:
    """The number in a node's name when it is what the step means, 0 where it has none; None otherwise."""
    if step.name == "*":
        return 0 if node.told is None else None
    if step.name[-1] in "#%":
        found = re.fullmatch(re.escape(step.name[:-1]) + r"([0-9]{1,3})", node.name)
        return int(found[1]) if found else None
    return 0 if (node.uri, node.name) == (step.uri, step.name) else None


def _about(space: Space, machine: SpaceNode) -> str:
    """Maker and serial number, where the machine tells them."""
    said = []
    for block in space.children(machine):
        if block.name == "Identification":
            for name in ("Manufacturer", "Model", "SerialNumber"):
                told = space.property(block, name, None)
                if isinstance(told, str) and told.strip():
                    said.append(told.strip())
    line = space.property(machine, "LineId", None)
    return ", ".join([*said, f"line {line}"] if isinstance(line, str) and line.strip() else said)
