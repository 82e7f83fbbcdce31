"""Every service call that an OPC UA server of the tests gets, whatever it answers, and which of them only read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, Final

from asyncua import ua
from asyncua.server import binary_server_asyncio
from asyncua.server.uaprocessor import UaProcessor
from asyncua.ua.object_ids import ObjectIdNames, ObjectIds
from asyncua.ua.ua_binary import nodeid_from_binary, struct_from_binary

READING: Final = frozenset(
    {
        "FindServersRequest", "GetEndpointsRequest", "OpenSecureChannelRequest", "CloseSecureChannelRequest",
        "CreateSessionRequest", "ActivateSessionRequest", "CloseSessionRequest", "BrowseRequest",
        "BrowseNextRequest", "TranslateBrowsePathsToNodeIdsRequest", "ReadRequest", "HistoryReadRequest",
        "CreateSubscriptionRequest", "DeleteSubscriptionsRequest", "CreateMonitoredItemsRequest",
        "DeleteMonitoredItemsRequest", "PublishRequest", "RepublishRequest",
    }
)  # fmt: skip
"""Services that change nothing in a machine, but for what the server keeps for this one client.
Source: OPC 10000-4, 5.5 to 5.14."""

REFRESHES: Final = frozenset(
    f"Call i={ObjectIds.ConditionType} i={method}"
    for method in (ObjectIds.ConditionType_ConditionRefresh, ObjectIds.ConditionType_ConditionRefresh2)
)
"""The methods that only ask to be told again. Source: OPC 10000-9, 5.5.7 and 5.5.8."""

_TYPE_END = "_Encoding_DefaultBinary"


def beyond_reading(calls: Iterable[str]) -> set[str]:
    """The calls that do more than read."""
    return set(calls) - READING - REFRESHES


@contextmanager
def recorded() -> Iterator[Counter[str]]:
    """How often each call came to any server of this process while the block runs.

    One is named by its request; a method call as ``Call OBJECT METHOD``.
    """
    calls: Counter[str] = Counter()

    class Recording(UaProcessor):
        def open_secure_channel(self, algohdr: Any, seqhdr: Any, body: Any) -> None:
            calls["OpenSecureChannelRequest"] += 1
            super().open_secure_channel(algohdr, seqhdr, body)

        async def process_message(self, seqhdr: Any, body: Any) -> Any:
            calls.update(_named(body.copy()))
            return await super().process_message(seqhdr, body)

    before = binary_server_asyncio.UaProcessor
    binary_server_asyncio.UaProcessor = Recording  # type: ignore[misc]
    try:
        yield calls
    finally:
        binary_server_asyncio.UaProcessor = before  # type: ignore[misc]


def _named(body: Any) -> list[str]:
    kind = nodeid_from_binary(body)
    name = ObjectIdNames.get(kind.Identifier, str(kind)).removesuffix(_TYPE_END)
    if kind != ua.NodeId(ObjectIds.CallRequest_Encoding_DefaultBinary):
        return [name]
    struct_from_binary(ua.RequestHeader, body)
    asked = struct_from_binary(ua.CallParameters, body).MethodsToCall
    return [f"Call {one.ObjectId.to_string()} {one.MethodId.to_string()}" for one in asked]
