"""What variables say of themselves: type, value, description; read, never written."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

from asyncua import ua
from asyncua.ua.attribute_ids import AttributeIds

from collector.discovery.space import SpaceNode, Span, Told, Value
from collector.opcua.limits import in_groups
from collector.opcua.link import Link
from collector.opcua.nodes import address_of
from collector.reading.told_unit import ToldUnit

_AT_ONCE: Final = 500
_LONGEST: Final = 300  # characters of a text that are kept
_PROPERTY: Final = "i=68"

# Numbers, texts, units and ranges; a value of another type may be large, and is of no use here.
_WANTED: Final = frozenset({*range(1, 13), 21, 24, *range(26, 30), 290, 884, 887})
_LISTS: Final = ua.ValueRank.OneOrMoreDimensions  # from here on

Variable = tuple[ua.NodeId, SpaceNode]


async def tell_variables(
    link: Link, variables: Sequence[Variable], is_late: Callable[[], bool], progress: Callable[[int], None]
) -> dict[str, SpaceNode]:
    """The variables with what they say of themselves, by address.

    Args:
        is_late: whether the time is up; what is not read by then is left out.
        progress: called with how many are done.

    Raises:
        SourceAway: the connection broke.
    """
    found: dict[str, SpaceNode] = {}
    for some in in_groups(variables, min(_AT_ONCE, link.limits.read)):
        if is_late():
            break
        found |= await _told(link, some)
        progress(len(found))
    return found


async def _told(link: Link, variables: Sequence[Variable]) -> dict[str, SpaceNode]:
    ids = [node_id for node_id, _ in variables]
    types = [_content(d) for d in await link.read(ids, AttributeIds.DataType)]
    ranks = [_content(d) for d in await link.read(ids, AttributeIds.ValueRank)]
    wanted = [i for i, (t, r) in enumerate(zip(types, ranks, strict=True)) if _is_wanted(t, r)]
    described = [i for i, (_, node) in enumerate(variables) if node.type != _PROPERTY]
    values = await _read_at(link, ids, wanted, AttributeIds.Value)
    texts = await _read_at(link, ids, described, AttributeIds.Description)
    return {
        node.address: replace(
            node,
            told=Told(
                _value(_content(values.get(i))),
                address_of(t, link.namespaces) if isinstance(t, ua.NodeId) else "",
                not _is_list(r),
                _text(_content(texts.get(i))),
            ),
        )
        for i, ((_, node), t, r) in enumerate(zip(variables, types, ranks, strict=True))
    }


async def _read_at(
    link: Link, ids: Sequence[ua.NodeId], places: Sequence[int], attribute: AttributeIds
) -> dict[int, ua.DataValue]:
    return dict(zip(places, await link.read([ids[i] for i in places], attribute), strict=True))


def _is_wanted(data_type: object, rank: object) -> bool:
    """Whether a value is read: one number or short thing, or of a type that others made."""
    if not isinstance(data_type, ua.NodeId) or _is_list(rank):
        return False
    return data_type.NamespaceIndex != 0 or data_type.Identifier in _WANTED


def _is_list(rank: object) -> bool:
    return isinstance(rank, int) and rank >= _LISTS


def _content(data: ua.DataValue | None) -> object:
    """What was read; None where there was nothing, or it was bad."""
    if data is None or data.Value is None:
        return None
    # What is not good tells no more than that there is something.
    return data.Value.Value if data.StatusCode is None or data.StatusCode.is_good() else None


def _value(raw: object) -> Value:
    if isinstance(raw, bool | int | float):
        return raw
    if isinstance(raw, ua.EUInformation):
        text, number = _text(raw.DisplayName), int(raw.UnitId)
        return ToldUnit(number, text) if number > 0 or text else None
    if isinstance(raw, ua.Range):
        return Span(float(raw.Low), float(raw.High))
    return _text(raw) or None


def _text(raw: object) -> str:
    said = raw.Text if isinstance(raw, ua.LocalizedText) else raw
    return said.strip()[:_LONGEST] if isinstance(said, str) else ""
