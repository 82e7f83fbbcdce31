"""A server's limits are asked for within them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pytest
from asyncua import ua

from collector.opcua.limits import AT_ONCE, HISTORY_AT_ONCE, Limits, read_limits

_READ, _PATHS, _ITEMS, _HISTORY, _POINTS, _EACH = 11705, 11712, 11714, 12165, 2737, 24104


@pytest.mark.parametrize(
    ("told", "limits"),
    [
        ({}, Limits()),
        (dict.fromkeys((_READ, _PATHS, _ITEMS, _HISTORY, _POINTS, _EACH), 0), Limits()),
        ({_READ: 3, _PATHS: 7, _ITEMS: 50, _HISTORY: 9, _EACH: 500}, Limits(3, 7, 50, 9, 500)),
        ({_HISTORY: 50, _POINTS: 20}, Limits(history=20)),
        ({_READ: 10**6, _HISTORY: 10**6}, Limits(AT_ONCE, history=HISTORY_AT_ONCE)),
        ({_READ: "many"}, Limits()),
    ],
)
async def test_missing_and_zero_are_none_and_ours_count_as_well(
    told: Mapping[int, object], limits: Limits
) -> None:
    async def read(nodes: Sequence[ua.NodeId]) -> list[ua.DataValue]:
        assert len(nodes) <= (
            told.get(_READ) if isinstance(told.get(_READ), int) and told.get(_READ) else 1000
        )
        return [
            ua.DataValue(ua.Variant(told[n.Identifier]))
            if n.Identifier in told
            else ua.DataValue(None, ua.StatusCode(ua.StatusCodes.BadNodeIdUnknown))
            for n in nodes
        ]

    assert await read_limits(read) == limits
