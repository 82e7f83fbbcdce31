"""How much a server takes in one request, as it says itself."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

from asyncua import ua
from asyncua.ua.object_ids import ObjectIds

AT_ONCE: Final = 1000
"""Nodes in one request where a server names no limit; some refuse more (common practice, no source)."""

HISTORY_AT_ONCE: Final = 100
"""The same for nodes whose history is read, so that one answer stays small."""

T = TypeVar("T")
Read = Callable[[Sequence[ua.NodeId]], Awaitable[list[ua.DataValue]]]


@dataclass(frozen=True, slots=True)
class Limits:
    """A server's limits, cut down to ours.

    Source: OPC 10000-5, 6.3.2 (ServerCapabilities), 6.3.11 (OperationLimits): a limit that is missing or 0 is
    none.

    Attributes:
        read: nodes in one Read.
        paths: paths in one TranslateBrowsePathsToNodeIds.
        items: monitored items in one CreateMonitoredItems.
        history: nodes in one HistoryRead.
        items_each: monitored items in one subscription; 0 for any number.
        browse: nodes in one Browse.
    """

    read: int = AT_ONCE
    paths: int = AT_ONCE
    items: int = AT_ONCE
    history: int = HISTORY_AT_ONCE
    items_each: int = 0
    browse: int = AT_ONCE


_PREFIX = "Server_ServerCapabilities_"
_NODES: Mapping[str, tuple[str, ...]] = {
    "read": ("OperationLimits_MaxNodesPerRead",),
    "browse": ("OperationLimits_MaxNodesPerBrowse",),
    "paths": ("OperationLimits_MaxNodesPerTranslateBrowsePathsToNodeIds",),
    "items": ("OperationLimits_MaxMonitoredItemsPerCall",),
    # A server keeps a continuation point for each node of an answer that does not hold all.
    "history": ("OperationLimits_MaxNodesPerHistoryReadData", "MaxHistoryContinuationPoints"),
    "items_each": ("MaxMonitoredItemsPerSubscription",),
}


async def read_limits(read: Read) -> Limits:
    """Ask a server for its limits.

    Args:
        read: reads the values of nodes; it is never given more of them than the server takes.

    Raises:
        SourceAway: the connection broke.
    """
    (most,) = await read([_node(_NODES["read"][0])])
    names = [(name, node) for name, nodes in _NODES.items() for node in nodes]
    told: dict[str, list[int]] = {}
    for some in in_groups(names, _number(most) or AT_ONCE):
        for (name, _), value in zip(some, await read([_node(n) for _, n in some]), strict=True):
            if limit := _number(value):
                told.setdefault(name, []).append(limit)
    ours = Limits()
    found = {name: min([*limits, getattr(ours, name) or limits[0]]) for name, limits in told.items()}
    return Limits(**found)


def in_groups(things: Sequence[T], most: int) -> Iterator[Sequence[T]]:
    """The things in groups of at most so many, in their order.

    Example:
        >>> list(in_groups("abcde", 2))
        ['ab', 'cd', 'e']
    """
    for start in range(0, len(things), most):
        yield things[start : start + most]


def _node(name: str) -> ua.NodeId:
    return ua.NodeId(ua.Int32(getattr(ObjectIds, _PREFIX + name)))


def _number(value: ua.DataValue) -> int:
    told = value.Value.Value if value.Value is not None else None
    return told if isinstance(told, int) and told > 0 else 0
