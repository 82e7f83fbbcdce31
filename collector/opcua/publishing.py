"""Lets a session's publish responses come with their values as columns instead of objects."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any

import structlog
from asyncua import ua
from asyncua.common.utils import Buffer
from asyncua.ua.object_ids import ObjectIds
from asyncua.ua.ua_binary import (
    Primitives,
    extensionobject_from_binary,
    nodeid_from_binary,
    struct_from_binary,
)
from asyncua.ua.uaerrors import UaStructParsingError

from collector.opcua.values import decode

_DATA_CHANGE = ObjectIds.DataChangeNotification_Encoding_DefaultBinary
_HAS_BODY = 1

_log = structlog.get_logger(__name__)


def hasten(session: Any) -> bool:
    """Put our decoding into a session's publish loop; False when the library is not as it should be.

    The loop asks for each response with the session's public ``publish``, and that alone is replaced. Where
    the library is built otherwise, everything goes on as the library does it.
    """
    publish, send = getattr(session, "publish", None), getattr(session, "_send_request", None)
    if not inspect.iscoroutinefunction(publish) or not inspect.iscoroutinefunction(send):
        _log.info("publish_not_hastened", session=type(session).__name__)
        return False
    session.publish = _publish_with(send)
    return True


def _publish_with(send: Callable[..., Any]) -> Callable[[list[ua.SubscriptionAcknowledgement]], Any]:
    async def publish(acks: list[ua.SubscriptionAcknowledgement]) -> ua.PublishResponse:
        request = ua.PublishRequest()
        request.Parameters.SubscriptionAcknowledgements = acks
        return response_of(await send(request, timeout=0))

    return publish


def response_of(data: Buffer) -> ua.PublishResponse:
    """A publish response in which data changes are ``Changes``; the library's own where that does not work.

    Raises:
        UaStructParsingError: the library cannot read it either.
    """
    whole = data.copy()
    try:
        return _response(data)
    except Exception as error:
        # A message that is not as the specification says: the library may still make sense of it.
        _log.debug("publish_decoded_by_library", error=repr(error))
    try:
        return struct_from_binary(ua.PublishResponse, whole)
    except Exception as error:
        raise UaStructParsingError from error


def _response(data: Buffer) -> ua.PublishResponse:
    """Source: OPC 10000-4, 5.14.5.2 (Publish), 7.26 (NotificationMessage); the rest is not needed."""
    response = ua.PublishResponse()
    nodeid_from_binary(data)
    response.ResponseHeader = struct_from_binary(ua.ResponseHeader, data)
    result = response.Parameters
    result.SubscriptionId = _number(data, 4)
    result.AvailableSequenceNumbers = [_number(data, 4) for _ in range(_length(data))]
    result.MoreNotifications = bool(_number(data, 1))
    message = result.NotificationMessage
    message.SequenceNumber = _number(data, 4)
    message.PublishTime = Primitives.DateTime.unpack(data)
    message.NotificationData = [_notification(data) for _ in range(_length(data))]
    return response


def _notification(data: Buffer) -> Any:
    """One entry of a message: columns of data changes, or what the library makes of it."""
    ahead = data.copy()
    kind = nodeid_from_binary(ahead)
    if kind.NamespaceIndex == 0 and kind.Identifier == _DATA_CHANGE and _number(ahead, 1) == _HAS_BODY:
        body = ahead.read(_length(ahead))
        data.skip(len(data) - len(ahead))
        return decode(body)
    return extensionobject_from_binary(data)


def _number(data: Buffer, octets: int) -> int:
    return int.from_bytes(data.read(octets), "little")


def _length(data: Buffer) -> int:
    """The length of an array; a missing one has none."""
    return max(0, int.from_bytes(data.read(4), "little", signed=True))
