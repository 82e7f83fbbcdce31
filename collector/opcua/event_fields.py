"""Which fields of an event are asked for, and how an event becomes one of the machine's alarms.

A field that a server does not have comes as nothing; texts come in the server's own language.
Source: OPC 10000-4, 7.7.4.5 (SimpleAttributeOperand: BaseEventType finds a path whatever the event's type);
OPC 10000-9, 5.5.2 (ConditionId: the node of the condition as an attribute of ConditionType).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Final

from asyncua import ua
from asyncua.ua.attribute_ids import AttributeIds
from asyncua.ua.object_ids import ObjectIds

from collector.machine_alarms import MachineAlarm
from collector.opcua.times import ns_of

CONDITION: Final = "ConditionId"
"""Not a field but the condition's own node; asked for as an attribute."""

PLAIN_FIELDS: Final = (
    "EventId",
    "EventType",
    "SourceNode",
    "SourceName",
    "Time",
    "Message",
    "Severity",
    CONDITION,
    "ConditionName",
    "Retain",
    "ActiveState/Id",
    "AckedState/Id",
)
"""What every server with alarms has."""

FIELDS: Final = (
    *PLAIN_FIELDS,
    "BranchId",
    "ConditionClassName",
    "EnabledState/Id",
    "ConfirmedState/Id",
    "SuppressedState/Id",
    "ShelvingState/CurrentState/Id",
    "Comment",
    "ClientUserId",
)
"""What is asked for first; a server may refuse fields that it does not know."""

LONGEST_TEXT: Final = 1000

_UNSHELVED = ObjectIds.ShelvedStateMachineType_Unshelved


def select(name: str) -> ua.SimpleAttributeOperand:
    """How a field is asked for."""
    if name == CONDITION:
        return ua.SimpleAttributeOperand(
            TypeDefinitionId=_standard(ObjectIds.ConditionType), AttributeId=AttributeIds.NodeId
        )
    return ua.SimpleAttributeOperand(
        TypeDefinitionId=_standard(ObjectIds.BaseEventType),
        BrowsePath=[ua.QualifiedName(part, 0) for part in name.split("/")],
        AttributeId=AttributeIds.Value,
    )


def type_of(fields: Mapping[str, Any]) -> int | None:
    """The number of the event's type where it is one of the standard's, else None."""
    kind = fields.get("EventType")
    if isinstance(kind, ua.NodeId) and kind.NamespaceIndex == 0 and isinstance(kind.Identifier, int):
        return int(kind.Identifier)
    return None


def alarm_of(fields: Mapping[str, Any], namespaces: Sequence[str]) -> MachineAlarm | None:
    """The alarm whose state an event tells; None for an event that is no condition's.

    A condition without an active state stands as long as the machine retains it.

    Args:
        namespaces: the server's namespace URIs in its order of now.
    """
    node, active = fields.get(CONDITION), fields.get("ActiveState/Id")
    name = _text(fields.get("ConditionName"))
    if not isinstance(node, ua.NodeId) or node.is_null():
        if not isinstance(active, bool):
            return None
        # A server that does not tell the condition's node: its source and its name are all there is.
        condition = f"{_node_text(fields.get('SourceNode'), namespaces)}/{name}"
    else:
        condition = _node_text(node, namespaces)
    branch = fields.get("BranchId")
    if isinstance(branch, ua.NodeId) and not branch.is_null():
        condition += f" branch {_node_text(branch, namespaces)}"
    retain = fields.get("Retain") is True or (fields.get("Retain") is None and active is True)
    said = words_of(fields)
    shelving = fields.get("ShelvingState/CurrentState/Id")
    return MachineAlarm(
        condition=condition,
        source_name=said["source_name"],
        name=name,
        alarm_class=_text(fields.get("ConditionClassName")),
        severity=said["severity"],
        active=active if isinstance(active, bool) else retain,
        acked=fields.get("AckedState/Id") is not False,
        retain=retain,
        message=said["message"],
        event_id=said["event_id"],
        time_ns=said["time_ns"],
        confirmed=_flag(fields.get("ConfirmedState/Id")),
        shelved=_shelved(shelving) if isinstance(shelving, ua.NodeId) else None,
        suppressed=_flag(fields.get("SuppressedState/Id")),
        enabled=_flag(fields.get("EnabledState/Id")),
        comment=_text(fields.get("Comment")),
        by=_text(fields.get("ClientUserId")),
    )


def words_of(fields: Mapping[str, Any]) -> dict[str, Any]:
    """What every event has, as JSON types: source_name, message, severity, event_id, time_ns."""
    severity, event_id, at = fields.get("Severity"), fields.get("EventId"), fields.get("Time")
    return {
        "source_name": _text(fields.get("SourceName")),
        "message": _text(fields.get("Message")),
        "severity": int(severity) if isinstance(severity, int) else 0,
        "event_id": event_id.hex() if isinstance(event_id, bytes) else "",
        "time_ns": ns_of(at) if isinstance(at, datetime) else 0,
    }


def _shelved(state: ua.NodeId) -> bool | None:
    """Whether a state of the shelving machine is a shelved one; the standard's numbers only."""
    if state.is_null() or state.NamespaceIndex != 0:
        return None
    return bool(state.Identifier != _UNSHELVED)


def _node_text(node: Any, namespaces: Sequence[str]) -> str:
    """A node with its namespace's URI, which stays when a restart gives the namespaces other numbers."""
    if not isinstance(node, ua.NodeId):
        return ""
    index = int(node.NamespaceIndex)
    bare = _writable(str(node.to_string()).removeprefix(f"ns={index};"))
    if index == 0:
        return bare
    return f"nsu={namespaces[index]};{bare}" if index < len(namespaces) else f"ns={index};{bare}"


def _text(value: Any) -> str:
    if isinstance(value, ua.LocalizedText):
        value = value.Text
    return _writable(value[:LONGEST_TEXT]) if isinstance(value, str) else ""


def _writable(text: str) -> str:
    """The library (2.1.0) hands on bytes that are no UTF-8 as halves of characters, which nobody can keep."""
    return text.encode("utf-8", "replace").decode()


def _flag(value: Any) -> bool | None:
    return value if isinstance(value, bool) else None


def _standard(number: int) -> ua.NodeId:
    return ua.NodeId(ua.Int32(number))
