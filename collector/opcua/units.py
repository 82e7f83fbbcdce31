"""Which unit a server says its nodes are in, and which range they are scaled for."""

from __future__ import annotations

import math
from collections.abc import Sequence

from asyncua import ua

from collector.opcua.link import Link
from collector.reading.told_unit import ToldUnit


async def read_units(link: Link, nodes: Sequence[ua.NodeId]) -> list[ToldUnit | None]:
    """Each node's unit; None where the server gives none.

    Raises:
        SourceAway: the connection broke.
    """
    return [_unit(told) for told in await _values(link, nodes, "EngineeringUnits")]


async def read_ranges(link: Link, nodes: Sequence[ua.NodeId]) -> list[float | None]:
    """How wide the range is that each node is scaled for, in its own unit; None where the server gives none.

    Source: OPC 10000-8, 5.3.2.3 (EURange).

    Raises:
        SourceAway: the connection broke.
    """
    return [_width(told) for told in await _values(link, nodes, "EURange")]


async def _values(link: Link, nodes: Sequence[ua.NodeId], name: str) -> list[object]:
    """The value of a property of each node; None where there is none."""
    properties = await link.properties(nodes, name)
    asked = [(place, node) for place, node in enumerate(properties) if node is not None]
    found: list[object] = [None] * len(nodes)
    for (place, _), data in zip(asked, await link.read([node for _, node in asked]), strict=True):
        found[place] = data.Value.Value if data.Value is not None else None
    return found


def _unit(told: object) -> ToldUnit | None:
    if not isinstance(told, ua.EUInformation):
        return None
    text = told.DisplayName.Text if told.DisplayName is not None else None
    number = int(told.UnitId)
    return ToldUnit(number, (text or "").strip()) if number > 0 or text else None


def _width(told: object) -> float | None:
    if not isinstance(told, ua.Range):
        return None
    width = abs(float(told.High) - float(told.Low))
    # NaN is no width either.
    return width if 0.0 < width < math.inf else None
