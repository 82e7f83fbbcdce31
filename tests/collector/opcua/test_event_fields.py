"""From the fields of an event to one of the machine's alarms, whatever a server leaves out or gets wrong."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from asyncua import ua
from hypothesis import given
from hypothesis import strategies as st

from collector.machine_alarms import MachineAlarm
from collector.opcua.event_fields import (
    CONDITION,
    FIELDS,
    LONGEST_TEXT,
    PLAIN_FIELDS,
    alarm_of,
    select,
    type_of,
)

NAMESPACES = ["http://opcfoundation.org/UA/", "urn:server", "urn:m"]
WHOLE: dict[str, Any] = {
    "EventId": b"\x01\xff",
    "EventType": ua.NodeId(2915, 0),
    "SourceNode": ua.NodeId("filter", 2),
    "SourceName": "filter",
    "Time": datetime(2026, 5, 4, 6, 0, 0, 5, tzinfo=UTC),
    "Message": ua.LocalizedText("Druck hoch", "de"),
    "Severity": 713,
    CONDITION: ua.NodeId("High", 2),
    "ConditionName": "High",
    "Retain": True,
    "ActiveState/Id": True,
    "AckedState/Id": False,
}


def alarm(**changes: Any) -> MachineAlarm | None:
    fields = {**WHOLE, **{k.replace("__", "/"): v for k, v in changes.items()}}
    return alarm_of(fields, NAMESPACES)


def test_an_alarm_is_taken_as_the_machine_says_it() -> None:
    found = alarm()
    assert found == MachineAlarm(
        "nsu=urn:m;s=High", "filter", "High", "", 713, True, False, True, "Druck hoch", "01ff",
        1_777_874_400_000_005_000,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "attribute", "expected"),
    [
        ({CONDITION: ua.NodeId(5, 0)}, "condition", "i=5"),
        ({CONDITION: ua.NodeId("x", 9)}, "condition", "ns=9;s=x"),
        ({CONDITION: None}, "condition", "nsu=urn:m;s=filter/High"),
        ({"BranchId": ua.NodeId(7, 2)}, "condition", "nsu=urn:m;s=High branch nsu=urn:m;i=7"),
        ({"BranchId": ua.NodeId()}, "condition", "nsu=urn:m;s=High"),
        ({"ActiveState__Id": None}, "active", True),
        ({"ActiveState__Id": None, "Retain": False}, "active", False),
        ({"AckedState__Id": None}, "acked", True),
        ({"Retain": None}, "retain", True),
        ({"Time": None}, "time_ns", 0),
        ({"EventId": None}, "event_id", ""),
        ({"Severity": "high"}, "severity", 0),
        ({"Message": ua.LocalizedText(None)}, "message", ""),
        ({"Message": ua.LocalizedText("x" * 5000)}, "message", "x" * LONGEST_TEXT),
        ({"Message": ua.LocalizedText("heiss\udcff")}, "message", "heiss?"),
        ({CONDITION: ua.NodeId("hei\udcdf", 2)}, "condition", "nsu=urn:m;s=hei?"),
        ({"ShelvingState__CurrentState__Id": ua.NodeId(2929, 0)}, "shelved", True),
        ({"ShelvingState__CurrentState__Id": ua.NodeId(2930, 0)}, "shelved", False),
        ({"ShelvingState__CurrentState__Id": ua.NodeId(2930, 2)}, "shelved", None),
        ({"SuppressedState__Id": True}, "suppressed", True),
    ],
)
def test_what_a_server_leaves_out_or_says_otherwise(
    changes: dict[str, Any], attribute: str, expected: Any
) -> None:
    found = alarm(**changes)
    assert found is not None
    assert getattr(found, attribute) == expected


def test_an_event_without_a_condition_is_no_alarm() -> None:
    assert alarm_of({"EventType": ua.NodeId(2041, 0), "Message": ua.LocalizedText("x")}, NAMESPACES) is None
    assert type_of({"EventType": ua.NodeId(2787, 0)}) == 2787
    assert type_of({"EventType": ua.NodeId(2787, 2)}) is None


def test_every_field_that_is_used_is_asked_for() -> None:
    assert set(WHOLE) == set(PLAIN_FIELDS) < set(FIELDS)
    assert [select(n).AttributeId for n in FIELDS if n == CONDITION] == [ua.AttributeIds.NodeId]
    assert [q.Name for q in select("ShelvingState/CurrentState/Id").BrowsePath] == [
        "ShelvingState",
        "CurrentState",
        "Id",
    ]


ANYTHING = st.one_of(
    st.none(), st.booleans(), st.integers(), st.text(max_size=5), st.binary(max_size=5), st.floats(),
    st.builds(ua.NodeId, st.one_of(st.integers(0, 9), st.text(max_size=3)), st.integers(0, 5)),
    st.builds(ua.LocalizedText, st.one_of(st.none(), st.text(max_size=5))), st.lists(st.integers(), max_size=2),
)  # fmt: skip


@given(st.fixed_dictionaries({}, optional=dict.fromkeys(FIELDS, ANYTHING)))
def test_whatever_a_server_sends_is_an_alarm_or_none(fields: dict[str, Any]) -> None:
    found = alarm_of(fields, NAMESPACES)
    if found is not None:
        assert MachineAlarm.from_json(found.to_json()) == found
