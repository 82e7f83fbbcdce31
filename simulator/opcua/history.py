"""Answers HistoryRead from the machine's memory.

The library's own stores keep changes only, cut off without a continuation point, and one of them fails at
whole-second time stamps; so the service itself is answered here.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from dataclasses import replace

from asyncua import ua
from asyncua.server.history import HistoryManager
from asyncua.server.server import Server
from asyncua.ua.attribute_ids import AttributeIds
from asyncua.ua.object_ids import ObjectIds
from asyncua.ua.status_codes import StatusCodes

from historian.tags import Tag
from simulator.opcua.archive import Archive, RawRead, Row
from simulator.opcua.places import Layout, Place
from simulator.opcua.times import moment_ns, stamp
from simulator.opcua.values import data_value

PAGE_ROWS = 1000

_TOLD = (ua.TimestampsToReturn.Source, ua.TimestampsToReturn.Server, ua.TimestampsToReturn.Both)

# Two moments, rows left (−1: no limit), direction, the two bounds.
_POINT = struct.Struct("<qqq???")


class MachineHistory(HistoryManager):
    """The history service of a server whose nodes are served from an archive."""

    def __init__(self, server: Server, archive: Archive, page_rows: int = PAGE_ROWS) -> None:
        super().__init__(server.iserver)
        self._archive = archive
        self._page_rows = page_rows
        self._known: dict[ua.NodeId, tuple[str, Place]] = {}

    async def open(self, server: Server, tags: Sequence[Tag], layout: Layout) -> None:
        """Mark the nodes as having a history, and answer for them."""
        server.iserver.history_manager = self
        self._known = {
            place.id: (tag.path, place)
            for tag, places in zip(tags, layout.places, strict=True)
            for place in places
        }
        for node_id in self._known:
            node = server.get_node(node_id)
            await node.write_attribute(AttributeIds.Historizing, ua.DataValue(ua.Variant(True)))
            await node.set_attr_bit(AttributeIds.AccessLevel, ua.AccessLevel.HistoryRead)
            await node.set_attr_bit(AttributeIds.UserAccessLevel, ua.AccessLevel.HistoryRead)
        for number, value in self._capabilities().items():
            await server.get_node(ua.NodeId(ua.Int32(number))).write_value(value)

    def _capabilities(self) -> Mapping[int, ua.Variant]:
        return {
            ObjectIds.HistoryServerCapabilities_AccessHistoryDataCapability: ua.Variant(True),
            ObjectIds.HistoryServerCapabilities_MaxReturnDataValues: ua.Variant(
                self._page_rows, ua.VariantType.UInt32
            ),
        }

    async def read_history(self, params: ua.HistoryReadParameters) -> list[ua.HistoryReadResult]:
        """The service: one result for each node asked for."""
        details = params.HistoryReadDetails
        if not isinstance(details, ua.ReadRawModifiedDetails) or details.IsReadModified:
            return [_refusal(StatusCodes.BadHistoryOperationUnsupported) for _ in params.NodesToRead]
        if params.ReleaseContinuationPoints:
            # A continuation point holds all there is to it: nothing is kept here.
            return [ua.HistoryReadResult() for _ in params.NodesToRead]
        told = params.TimestampsToReturn
        if told not in _TOLD:
            # OPC 10000-4 (1.05), 5.11.3.2.
            return [_refusal(StatusCodes.BadTimestampsToReturnInvalid) for _ in params.NodesToRead]
        return [self._read(details, asked, told) for asked in params.NodesToRead]

    def _read(
        self,
        details: ua.ReadRawModifiedDetails,
        asked: ua.HistoryReadValueId,
        told: ua.TimestampsToReturn,
    ) -> ua.HistoryReadResult:
        if asked.NodeId not in self._known:
            known = asked.NodeId in self.iserver.aspace
            return _refusal(
                StatusCodes.BadHistoryOperationUnsupported if known else StatusCodes.BadNodeIdUnknown
            )
        most = int(details.NumValuesPerNode)
        try:
            read = _continued(asked.ContinuationPoint) if asked.ContinuationPoint else _request(details)
        except struct.error:
            return _refusal(StatusCodes.BadContinuationPointInvalid)
        if read is None:
            return _refusal(StatusCodes.BadHistoryOperationInvalid)
        path, place = self._known[asked.NodeId]
        page = min(most or self._page_rows, self._page_rows)
        rows, rest = self._archive.of(path).read(read, page)
        data = ua.HistoryData()
        data.DataValues = [_data_value(row, place, told) for row in rows]
        result = ua.HistoryReadResult()
        result.HistoryData = data
        result.ContinuationPoint = None if rest is None else ua.ByteString(_point(rest))
        return result


def _refusal(code: int) -> ua.HistoryReadResult:
    result = ua.HistoryReadResult()
    result.StatusCode = ua.StatusCode(ua.UInt32(code))
    return result


def _request(details: ua.ReadRawModifiedDetails) -> RawRead | None:
    start, end = (
        None if at is None or at == ua.get_win_epoch() else moment_ns(at)
        for at in (details.StartTime, details.EndTime)
    )
    return RawRead.of(start, end, int(details.NumValuesPerNode), bounds=bool(details.ReturnBounds))


def _point(read: RawRead) -> bytes:
    left = -1 if read.left is None else read.left
    return _POINT.pack(read.first_ns, read.stop_ns, left, read.rising, read.first_bound, read.last_bound)


def _continued(point: bytes) -> RawRead:
    first_ns, stop_ns, left, rising, first_bound, last_bound = _POINT.unpack(point)
    return RawRead(first_ns, stop_ns, rising, None if left < 0 else left, first_bound, last_bound)


def _data_value(row: Row, place: Place, told: ua.TimestampsToReturn) -> ua.DataValue:
    """A remembered sample with the time stamps that were asked for."""
    if row.quality is None:
        code = ua.StatusCode(ua.UInt32(StatusCodes.BadBoundNotFound))
        value = ua.DataValue(ua.Variant(None), code, SourceTimestamp=stamp(row.time_ns))
    else:
        value = data_value(place, row.time_ns, row.value, row.quality, row.served_ns)
    if told == ua.TimestampsToReturn.Source:
        return replace(value, ServerTimestamp=None)
    if told == ua.TimestampsToReturn.Server:
        return replace(value, SourceTimestamp=None)
    return value
