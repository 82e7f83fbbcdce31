"""Which unit a server says its nodes are in, and whether the line's file agrees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from asyncua import ua

from collector.opcua.link import AT_ONCE, Link
from historian.errors import UnitMismatch, UnknownUnit
from historian.units import UNECE, conversion, ucum


@dataclass(frozen=True, slots=True)
class ServerUnit:
    """The EngineeringUnits property of a node.

    Attributes:
        number: UNECE code as a number; -1 when only the text counts.
        text: what the server displays.
    """

    number: int
    text: str

    @property
    def code(self) -> str | None:
        """Its UCUM code; None when it is not known."""
        if self.number in UNECE:
            return UNECE[self.number]
        try:
            return ucum(self.text) if self.text else None
        except UnknownUnit:
            return None


def disagreement(server: ServerUnit, unit: str) -> str | None:
    """Why a tag must not be collected, for a person; None when server and line's file agree.

    A unit of the server that is not known cannot disagree: the line's file was written by someone who knew.

    Example:
        >>> disagreement(ServerUnit(5067858, "MPa"), "bar")
        "the server says MPa, the line's file says bar"
        >>> disagreement(ServerUnit(5394509, "r/min"), "/min") is None
        True
    """
    code = server.code
    if code is None:
        return None
    try:
        same = conversion(code, unit) == (1.0, 0.0)
    except UnitMismatch:
        same = False
    if same:
        return None
    return f"the server says {server.text or code}, the line's file says {unit}"


async def read_units(link: Link, nodes: Sequence[ua.NodeId]) -> list[ServerUnit | None]:
    """Each node's unit; None where the server gives none.

    Raises:
        SourceAway: the connection broke.
    """
    found: list[ServerUnit | None] = []
    for start in range(0, len(nodes), AT_ONCE):
        found.extend(await _read_some(link, nodes[start : start + AT_ONCE]))
    return found


async def _read_some(link: Link, nodes: Sequence[ua.NodeId]) -> list[ServerUnit | None]:
    properties = await link.properties(nodes, "EngineeringUnits")
    asked = [(place, node) for place, node in enumerate(properties) if node is not None]
    values = await link.read([node for _, node in asked])
    units: list[ServerUnit | None] = [None] * len(nodes)
    for (place, _), value in zip(asked, values, strict=True):
        info = value.Value.Value if value.Value is not None else None
        if isinstance(info, ua.EUInformation):
            text = info.DisplayName.Text if info.DisplayName is not None else None
            if (number := int(info.UnitId)) > 0 or text:
                units[place] = ServerUnit(number, (text or "").strip())
    return units
