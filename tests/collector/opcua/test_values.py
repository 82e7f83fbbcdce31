"""Values out of a message's bytes are those that the library finds in them."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from asyncua import ua
from asyncua.common.utils import Buffer
from asyncua.ua.ua_binary import struct_from_binary, struct_to_binary
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.opcua.publishing import hasten, response_of
from collector.opcua.times import NO_TIME, ns_of
from collector.opcua.values import Changes, changes_of, decode

T = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
VT = ua.VariantType

whole = {
    VT.SByte: (-(2**7), 2**7 - 1), VT.Byte: (0, 2**8 - 1), VT.Int16: (-(2**15), 2**15 - 1), VT.UInt16: (0, 2**16 - 1),
    VT.Int32: (-(2**31), 2**31 - 1), VT.UInt32: (0, 2**32 - 1), VT.Int64: (-(2**63), 2**63 - 1), VT.UInt64: (0, 2**64 - 1),
}  # fmt: skip
numbers = st.one_of(
    *(st.integers(*ends).map(lambda n, kind=kind: ua.Variant(n, kind)) for kind, ends in whole.items()),
    st.booleans().map(lambda b: ua.Variant(b, VT.Boolean)),
    st.floats().map(lambda x: ua.Variant(x, VT.Double)),
    st.floats(width=32).map(lambda x: ua.Variant(x, VT.Float)),
)
others = st.one_of(
    st.just(ua.Variant(None)),
    st.text(max_size=5).map(lambda t: ua.Variant(t, VT.String)),
    st.lists(st.floats(allow_nan=False), max_size=3).map(lambda x: ua.Variant(x, VT.Double, is_array=True)),
    st.datetimes(datetime(1601, 1, 2), datetime(2200, 1, 1)).map(lambda t: ua.Variant(t, VT.DateTime)),
)
stamps = st.none() | st.datetimes(datetime(1601, 1, 1), datetime(9999, 12, 31)).map(
    lambda t: t.replace(tzinfo=UTC)
)
data_values = st.builds(
    ua.DataValue,
    Value=st.one_of(numbers, numbers, numbers, others),
    StatusCode=st.none() | st.integers(0, 2**32 - 1).map(lambda s: ua.StatusCode(ua.UInt32(s))),
    SourceTimestamp=stamps,
    ServerTimestamp=stamps,
    SourcePicoseconds=st.none() | st.integers(0, 9999),
    ServerPicoseconds=st.none() | st.none() | st.integers(0, 9999),
)
items = st.builds(ua.MonitoredItemNotification, ClientHandle=st.integers(0, 2**32 - 1), Value=data_values)


def packed(items: list[ua.MonitoredItemNotification]) -> bytes:
    return struct_to_binary(ua.DataChangeNotification(MonitoredItems=items))


def same(ours: Changes, theirs: Changes) -> None:
    for name in ("handle", "value", "status", "source_ns", "server_ns"):
        np.testing.assert_array_equal(getattr(ours, name), getattr(theirs, name), name)
    assert repr(ours.odd) == repr(theirs.odd) or dict(ours.odd) == dict(theirs.odd)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(items, st.sampled_from([1, 1, 2, 5, 9])), max_size=6))
def test_what_we_decode_is_what_the_library_decodes(
    some: list[tuple[ua.MonitoredItemNotification, int]],
) -> None:
    """Also where many of a kind follow one another."""
    body = packed([item for item, times in some for _ in range(times)])
    same(decode(body), changes_of(struct_from_binary(ua.DataChangeNotification, Buffer(body))))


@settings(max_examples=50, deadline=None)
@given(st.lists(items, min_size=1, max_size=3), st.data())
def test_damaged_bytes_raise_or_give_as_many_values_as_they_say(
    changed: list[ua.MonitoredItemNotification], data: st.DataObject
) -> None:
    body = bytearray(packed(changed))
    body[data.draw(st.integers(0, len(body) - 1))] = data.draw(st.integers(0, 255))
    cut = bytes(body[: data.draw(st.integers(0, len(body)))])
    try:
        decode(cut)
    except (ValueError, IndexError, TypeError, OverflowError, ua.UaError) as error:
        assert not isinstance(error, MemoryError)
    except Exception as error:  # struct.error is no subclass of these
        assert type(error).__name__ == "error"


def item(value: object, source: datetime | None = T, handle: int = 1) -> ua.MonitoredItemNotification:
    data = ua.DataValue(ua.Variant(value), SourceTimestamp=source, ServerTimestamp=T + timedelta(seconds=1))
    return ua.MonitoredItemNotification(ClientHandle=handle, Value=data)


def test_numbers_and_what_is_none_stay_in_order() -> None:
    found = decode(
        packed([item(1.5), item("no number", handle=2), item(True, handle=3), item(None, handle=4)])
    )
    assert found.handle.tolist() == [1, 2, 3, 4]
    assert [None if x is None or x != x else x for x in found.raw()] == [1.5, "no number", 1.0, None]  # noqa: PLR0124
    assert found.odd == {1: "no number", 3: None}
    assert found.source_ns.tolist() == [ns_of(T)] * 4


@pytest.mark.parametrize(
    "never", [None, datetime(1601, 1, 1, tzinfo=UTC), datetime(9999, 12, 31, 23, 59, 59, tzinfo=UTC)]
)
def test_a_time_that_is_none_is_none(never: datetime | None) -> None:
    assert decode(packed([item(1.0, never)])).source_ns.tolist() == [NO_TIME]
    assert changes_of(ua.DataChangeNotification(MonitoredItems=[item(1.0, never)])).source_ns.tolist() == [
        NO_TIME
    ]


def response(*entries: object) -> ua.PublishResponse:
    made = ua.PublishResponse()
    made.Parameters.SubscriptionId = 7
    made.Parameters.AvailableSequenceNumbers = [3, 4]
    made.Parameters.NotificationMessage = ua.NotificationMessage(5, T, list(entries))
    return made


def test_a_response_bears_columns_and_what_else_it_held() -> None:
    changed = ua.DataChangeNotification(MonitoredItems=[item(1.5), item(2.5)])
    ended = ua.StatusChangeNotification(Status=ua.StatusCode(ua.StatusCodes.BadTimeout))
    got = response_of(Buffer(struct_to_binary(response(changed, ended)))).Parameters
    assert (got.SubscriptionId, got.NotificationMessage.SequenceNumber) == (7, 5)
    assert got.NotificationMessage.PublishTime == T
    columns, other = got.NotificationMessage.NotificationData
    assert isinstance(columns, Changes) and columns.value.tolist() == [1.5, 2.5]
    assert isinstance(other, ua.StatusChangeNotification) and other.Status.name == "BadTimeout"


def test_a_keep_alive_is_one() -> None:
    got = response_of(Buffer(struct_to_binary(response()))).Parameters
    assert not got.NotificationMessage.NotificationData


def test_what_we_cannot_read_the_library_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    def cannot(body: bytes) -> Changes:
        raise ValueError(len(body))

    monkeypatch.setattr("collector.opcua.publishing.decode", cannot)
    changed = ua.DataChangeNotification(MonitoredItems=[item(1.5)])
    got = response_of(Buffer(struct_to_binary(response(changed)))).Parameters
    assert isinstance(got.NotificationMessage.NotificationData[0], ua.DataChangeNotification)
    with pytest.raises(ua.UaError):
        response_of(Buffer(b"\x01\x00"))


def test_a_library_that_is_built_otherwise_is_left_alone() -> None:
    class Other:
        publish = None

    other = Other()
    assert not hasten(other)
    assert other.publish is None


def test_a_number_that_is_not_one_is_nan() -> None:
    assert math.isnan(decode(packed([item(math.nan)])).value[0])
