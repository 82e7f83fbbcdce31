"""Reads what a server remembers of its nodes, in whatever pieces it gives it.

Source: OPC 10000-11, 6.4.3 (ReadRawModified), 6.3 (continuation points); OPC 10000-4, 5.11.3 (HistoryRead).
"""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass, field

import structlog
from asyncua import ua
from asyncua.ua.attribute_ids import AttributeIds
from asyncua.ua.status_codes import StatusCodes
from asyncua.ua.uaerrors import UaStatusCodeError

from collector.errors import HistoryAway, SourceAway
from collector.opcua.link import Link
from collector.opcua.times import stamp_of, told_ns
from collector.opcua.values import Changes, columns_of

VALUES_AT_ONCE = 20_000
"""Values in one answer, so that decoding it does not keep live ones waiting."""

_OVERLAP_NS = 1_000_000
"""Asked for beyond both ends: some servers leave the start out, some the end."""

_TRUNCATES = 100
"""Some servers cut an answer off without a continuation point; shorter answers than this are not cut off
(common practice, no source)."""

_MOST = 300_000  # values held for one piece
_EMPTY = 3  # answers in a row that bring nothing

_MORE_DATA = 0x00A6_0000
"""GoodMoreData. Source: OPC 10000-11, 6.4.3.2."""

_TOO_MUCH = {
    StatusCodes.BadNoContinuationPoints,
    StatusCodes.BadTooManyOperations,
    StatusCodes.BadResponseTooLarge,
    StatusCodes.BadEncodingLimitsExceeded,
    StatusCodes.BadTimeout,
}

_log = structlog.get_logger(__name__)


@dataclass(frozen=True, slots=True)
class Remembers:
    """What a server says of a node's history.

    Attributes:
        readable: whether it may be read.
        records: whether every sample goes into it now; then nothing in it means that nothing happened.
    """

    readable: bool
    records: bool


@dataclass(slots=True)
class _Asked:
    """A node whose history is being read.

    Attributes:
        node: the server's.
        start_ns: from where on; it moves where a server cuts its answers off.
        point: where the server goes on in its answer.
        goes_on: whether there is more to come.
        refused: why it gives nothing.
    """

    node: ua.NodeId
    start_ns: int
    point: bytes | None = None
    goes_on: bool = True
    empty: int = 0
    values: list[ua.DataValue] = field(default_factory=list)
    refused: str = ""

    @property
    def key(self) -> tuple[int, bool]:
        """What those have in common that can be asked for in one request."""
        return self.start_ns, self.point is not None


async def remembers(link: Link, nodes: Sequence[ua.NodeId]) -> list[Remembers]:
    """What the server says of the history of each node.

    Source: OPC 10000-3, 5.6.2 (Historizing), 8.57 (AccessLevelType, bit 2).

    Raises:
        SourceAway: the connection broke.
    """
    access = await link.read(nodes, AttributeIds.UserAccessLevel)
    historizing = await link.read(nodes, AttributeIds.Historizing)
    return [
        Remembers(bool(_number(a) & 1 << ua.AccessLevel.HistoryRead), bool(_number(h)))
        for a, h in zip(access, historizing, strict=True)
    ]


async def read_raw(
    link: Link, nodes: Sequence[ua.NodeId], start_ns: int, end_ns: int
) -> list[Changes | None]:
    """The raw values of each node from start to end, perhaps a few around; None where it gives none at all.

    Args:
        link: the connection; nothing that goes wrong here breaks it.
        nodes: at most as many as the server takes in one request.
        start_ns, end_ns: source times.

    Raises:
        HistoryAway: the server answers for none of them; with whether it was asked for too much at once.
        SourceAway: the connection broke.
    """
    asked = [_Asked(node, start_ns - _OVERLAP_NS) for node in nodes]
    while still := [a for a in asked if a.goes_on]:
        together = [a for a in still if a.key == still[0].key]
        results = await _request(link, together, end_ns + _OVERLAP_NS)
        try:
            for one, result in zip(together, results, strict=True):
                _take(one, result)
            if sum(len(a.values) for a in asked) > _MOST:
                raise HistoryAway(f"more than {_MOST} values in one piece", too_much=True)
        except HistoryAway:
            await _release(link, asked)
            raise
        await asyncio.sleep(0)
    for why in {a.refused for a in asked if a.refused}:
        _log.info("history_refused", endpoint=link.endpoint, nodes=len(asked), reason=why)
    return [None if a.refused else columns_of([0] * len(a.values), a.values) for a in asked]


async def _request(link: Link, asked: Sequence[_Asked], end_ns: int) -> list[ua.HistoryReadResult]:
    """One HistoryRead."""
    details = ua.ReadRawModifiedDetails(
        IsReadModified=False,
        StartTime=stamp_of(asked[0].start_ns),
        EndTime=stamp_of(end_ns),
        NumValuesPerNode=ua.Counter(max(2 * _TRUNCATES, VALUES_AT_ONCE // len(asked))),
        # A bound may lie outside of what is asked for.
        ReturnBounds=False,
    )
    try:
        return list(await link.session.history_read(_parameters(details, asked, release=False)))
    except (OSError, asyncio.IncompleteReadError) as error:
        if isinstance(error, TimeoutError):
            raise HistoryAway("it did not answer in time", too_much=True) from error
        raise SourceAway(f"{link.endpoint}: {error}") from error
    except UaStatusCodeError as error:
        raise HistoryAway(str(error), too_much=error.code in _TOO_MUCH) from error
    except Exception as error:
        # What else a damaged answer makes the library raise is not documented.
        raise HistoryAway(f"its answer could not be read ({error!r})") from error


async def _release(link: Link, asked: Sequence[_Asked]) -> None:
    """Tell the server that it need not go on; it keeps few continuation points."""
    held = [a for a in asked if a.point is not None]
    if not held:
        return
    try:
        await link.session.history_read(_parameters(ua.ReadRawModifiedDetails(), held, release=True))
    except Exception as error:
        _log.info("continuation_points_not_released", endpoint=link.endpoint, error=repr(error))


def _parameters(
    details: ua.ReadRawModifiedDetails, asked: Sequence[_Asked], *, release: bool
) -> ua.HistoryReadParameters:
    nodes = [
        ua.HistoryReadValueId(
            NodeId=a.node,
            IndexRange="",
            ContinuationPoint=a.point,
        )
        for a in asked
    ]
    return ua.HistoryReadParameters(
        HistoryReadDetails=details,
        TimestampsToReturn=ua.TimestampsToReturn.Both,
        ReleaseContinuationPoints=release,
        NodesToRead=nodes,
    )


def _take(asked: _Asked, result: ua.HistoryReadResult) -> None:
    """One node's part of an answer, and whether there is more."""
    status = int(result.StatusCode.value)
    asked.point, asked.goes_on = None, False
    if status in _TOO_MUCH:
        raise HistoryAway(result.StatusCode.name, too_much=True)
    if not result.StatusCode.is_good():
        asked.refused = result.StatusCode.name
        return
    data = result.HistoryData
    values = list(data.DataValues or ()) if isinstance(data, ua.HistoryData) else []
    asked.values += values
    if result.ContinuationPoint:
        asked.point = bytes(result.ContinuationPoint)
        asked.empty = 0 if values else asked.empty + 1
        asked.goes_on = True
        if asked.empty > _EMPTY:
            raise HistoryAway("its answer has no end")
        return
    if len(values) >= _TRUNCATES or (values and status & 0xFFFF_0000 == _MORE_DATA):
        last_ns = max(told_ns(value.SourceTimestamp) for value in values)
        asked.goes_on = last_ns > asked.start_ns
        asked.start_ns = max(last_ns, asked.start_ns)


def _number(data: ua.DataValue) -> int:
    told = data.Value.Value if data.Value is not None else None
    return int(told) if isinstance(told, int) else 0
