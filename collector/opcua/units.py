"""Which unit a server says its nodes are in."""

from __future__ import annotations

from collections.abc import Sequence

from asyncua import ua

from collector.opcua.link import AT_ONCE, Link
from collector.told_unit import ToldUnit


async def read_units(link: Link, nodes: Sequence[ua.NodeId]) -> list[ToldUnit | None]:
    """Each node's unit; None where the server gives none.

    Raises:
        SourceAway: the connection broke.
    """
    found: list[ToldUnit | None] = []
    for start in range(0, len(nodes), AT_ONCE):
        found.extend(await _read_some(link, nodes[start : start + AT_ONCE]))
    return found


async def _read_some(link: Link, nodes: Sequence[ua.NodeId]) -> list[ToldUnit | None]:
    properties = await link.properties(nodes, "EngineeringUnits")
    asked = [(place, node) for place, node in enumerate(properties) if node is not None]
    values = await link.read([node for _, node in asked])
    units: list[ToldUnit | None] = [None] * len(nodes)
    for (place, _), value in zip(asked, values, strict=True):
        info = value.Value.Value if value.Value is not None else None
        if isinstance(info, ua.EUInformation):
            text = info.DisplayName.Text if info.DisplayName is not None else None
            if (number := int(info.UnitId)) > 0 or text:
                units[place] = ToldUnit(number, (text or "").strip())
    return units
