"""What the test server remembers, answered in the ways in which servers do: in pages, cut off, without the end."""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from asyncua import ua
from asyncua.server.history import HistoryManager

_POINT = struct.Struct("<qq")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass
class Memory:
    """How a server answers.

    Attributes:
        page: values in one answer; 0 for all.
        points: whether it says where it goes on; else it cuts its answers off without a word.
        end: whether a value at the end of what is asked for belongs to the answer.
        at_once: nodes in one request; more are too many.
        until_ns: what came later is not written down yet.
        rows: node name → its samples: time, value.
        asked: requests that came.
        released: continuation points that were given back.
    """

    page: int = 0
    points: bool = True
    end: bool = True
    at_once: int = 0
    until_ns: int = 2**62
    rows: dict[str, list[tuple[int, float]]] = field(default_factory=dict)
    asked: int = 0
    released: int = 0
    refused: set[str] = field(default_factory=set)


class RememberingManager(HistoryManager):
    """The server's history service."""

    def __init__(self, iserver: Any, memory: Memory, names: dict[ua.NodeId, str]) -> None:
        super().__init__(iserver)
        self._memory, self._names = memory, names

    async def read_history(self, params: ua.HistoryReadParameters) -> list[ua.HistoryReadResult]:
        memory = self._memory
        if params.ReleaseContinuationPoints:
            memory.released += len(params.NodesToRead)
            return [ua.HistoryReadResult() for _ in params.NodesToRead]
        memory.asked += 1
        if memory.at_once and len(params.NodesToRead) > memory.at_once:
            raise ua.UaStatusCodeError(ua.StatusCodes.BadTooManyOperations)
        return [self._answer(params.HistoryReadDetails, asked) for asked in params.NodesToRead]

    def _answer(self, details: Any, asked: ua.HistoryReadValueId) -> ua.HistoryReadResult:
        result = ua.HistoryReadResult(HistoryData=ua.HistoryData())
        name = self._names.get(asked.NodeId, "")
        if name in self._memory.refused:
            return ua.HistoryReadResult(
                StatusCode=ua.StatusCode(ua.StatusCodes.BadHistoryOperationUnsupported)
            )
        # A node without a history answers well, and with nothing.
        start_ns, end_ns = _moment(details.StartTime), _moment(details.EndTime)
        if asked.ContinuationPoint:
            start_ns, end_ns = _POINT.unpack(asked.ContinuationPoint)
        rows = [
            row
            for row in self._memory.rows.get(name, ())
            if start_ns <= row[0] < end_ns + self._memory.end and row[0] <= self._memory.until_ns
        ]
        most = min(n for n in (self._memory.page, int(details.NumValuesPerNode), 10**9) if n)
        if len(rows) > most and self._memory.points:
            result.ContinuationPoint = _POINT.pack(rows[most][0], end_ns)
        result.HistoryData.DataValues = [
            ua.DataValue(
                ua.Variant(value, ua.VariantType.Double),
                SourceTimestamp=_EPOCH + timedelta(microseconds=time_ns // 1000),
            )
            for time_ns, value in rows[:most]
        ]
        return result


def _moment(stamp: datetime) -> int:
    since = (stamp if stamp.tzinfo is not None else stamp.replace(tzinfo=UTC)) - _EPOCH
    return (since // timedelta(microseconds=1)) * 1000
