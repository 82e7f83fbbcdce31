"""Which tags can be had from a server, and how: nodes, units and ranges as it has them today."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from collector.errors import WrongNode
from collector.opcua.items import Asking, Item
from collector.opcua.link import Link
from collector.opcua.nodes import resolve
from collector.opcua.units import read_ranges, read_units
from collector.reading.deadband import Deadband, width_of
from collector.reading.mapping import Reading
from collector.reading.told_unit import settled
from historian.errors import UnitMismatch


@dataclass(slots=True)
class Offer:
    """What a server has of a source's tags.

    Attributes:
        items: what can be subscribed to.
        unknown: tag path → why the server does not have it.
        wrong_unit: tag path → what server and line's file disagree on.
        no_range: paths of tags whose dead band is a share of a range that nobody tells; it is left out.
    """

    items: list[Item] = field(default_factory=list)
    unknown: dict[str, str] = field(default_factory=dict)
    wrong_unit: dict[str, str] = field(default_factory=dict)
    no_range: list[str] = field(default_factory=list)


async def offered(link: Link, readings: Sequence[Reading], asking: Asking) -> Offer:
    """What the server has of these tags, and how it is to be asked for it.

    Raises:
        SourceAway: the connection broke.
    """
    offer = Offer()
    known: list[Item] = []
    for reading in readings:
        try:
            node = resolve(reading.mapping.address, link.namespaces)
        except WrongNode as error:
            offer.unknown[reading.tag.path] = str(error)
        else:
            known.append(Item(reading, node, asking.of(reading.tag.path)))
    for item, unit in zip(known, await read_units(link, [item.node for item in known]), strict=True):
        reading = item.reading
        try:
            if unit is not None:
                item.reading = Reading(settled(reading.mapping, reading.tag, unit), reading.tag)
        except UnitMismatch as error:
            offer.wrong_unit[item.path] = str(error)
        else:
            offer.items.append(item)
    await _set_dead_bands(link, offer)
    return offer


async def _set_dead_bands(link: Link, offer: Offer) -> None:
    shares = [item for item in offer.items if item.reading.mapping.deadband_percent > 0]
    ranges = dict(zip(map(id, shares), await read_ranges(link, [item.node for item in shares]), strict=True))
    for item in offer.items:
        told = ranges.get(id(item))
        in_unit = told * abs(item.reading.scaling.scale) if told is not None else None
        width = width_of(item.reading.mapping, in_unit)
        if width is None:
            offer.no_range.append(item.path)
        elif width > 0:
            item.deadband = Deadband(width)
