"""The machine's alarm list as OPC UA Alarms & Conditions, and as a plain list of texts."""

from __future__ import annotations

from collections.abc import Sequence

from asyncua import ua
from asyncua.common.node import Node
from asyncua.server.event_generator import EventGenerator
from asyncua.server.server import Server
from asyncua.ua.object_ids import ObjectIds
from asyncua.ua.status_codes import StatusCodes

from simulator.controls.alarm_list import Alarm, AlarmList
from simulator.controls.view import Message
from simulator.opcua.places import node_id
from simulator.opcua.times import stamp
from simulator.published import Sample

_REFRESH_SEVERITY = 100
_ACKNOWLEDGE = ObjectIds.AcknowledgeableConditionType_Acknowledge


class Conditions:
    """An alarm list shown through a server; outlives the server.

    Every event is emitted by the Server object; its source is the machine.
    """

    def __init__(self) -> None:
        self.list = AlarmList()
        self._server: Server
        self._plain: Node
        self._shown: dict[str, _Shown] = {}

    def prepare(self, server: Server) -> None:
        """Ask for ConditionRefresh; to be called before the server's ``init``."""
        server.iserver.bind_condition_methods = _REFRESH_SEVERITY

    async def build(self, server: Server, machine: Node) -> None:
        """Add the alarms' objects and the plain list below the machine."""
        index = int(machine.nodeid.NamespaceIndex)
        folder = await machine.add_object(node_id("alarms", index), ua.QualifiedName("Alarms", index))
        self._plain = await machine.add_variable(
            node_id("alarm-list", index),
            ua.QualifiedName("AlarmList", index),
            ua.Variant(self.list.texts(), ua.VariantType.String, is_array=True),
        )
        self._shown = {}
        for alarm in self.list.alarms:
            shown = await _Shown.of(server, machine, folder, alarm)
            self._shown[alarm.kind.name] = shown
            for method in (ua.NodeId(ua.Int32(_ACKNOWLEDGE)), await shown.method("Acknowledge")):
                server.iserver.isession.add_method_callback(method, self._acknowledge)

    async def judge(self, samples: Sequence[Sample], said: Sequence[Message] = ()) -> None:
        """Move the list on by one second's samples and what the controls said; tell of what changed."""
        self.list.hear(said)
        changed = self.list.judge(samples)
        for alarm in changed:
            await self._shown[alarm.kind.name].tell()
        if changed:
            await self._write_plain()

    async def tell_again(self) -> None:
        """Tell a new server of what still stands, so that it can refresh clients."""
        for alarm in self.list.alarms:
            if alarm.retained:
                await self._shown[alarm.kind.name].tell()

    async def _write_plain(self) -> None:
        texts = ua.Variant(self.list.texts(), ua.VariantType.String, is_array=True)
        await self._plain.write_value(texts)

    async def _acknowledge(self, condition: ua.NodeId, event: ua.Variant, comment: ua.Variant) -> object:
        shown = next((s for s in self._shown.values() if s.node.nodeid == condition), None)
        if shown is None:
            return _status(StatusCodes.BadNodeIdUnknown)
        if event.Value != shown.event_id:
            return _status(StatusCodes.BadEventIdUnknown)
        if shown.alarm.acked:
            return _status(StatusCodes.BadConditionBranchAlreadyAcked)
        self.list.acknowledge(shown.alarm.kind.name)
        await shown.tell(comment.Value)
        return []


def _status(code: int) -> ua.StatusCode:
    return ua.StatusCode(ua.UInt32(code))


class _Shown:
    """One alarm as a condition object, and the events that tell of it."""

    def __init__(self, node: Node, generator: EventGenerator, alarm: Alarm) -> None:
        self.node = node
        self.alarm = alarm
        self._generator = generator

    @classmethod
    async def of(cls, server: Server, machine: Node, folder: Node, alarm: Alarm) -> _Shown:
        name, index = alarm.kind.name, int(machine.nodeid.NamespaceIndex)
        node = await folder.add_object(
            node_id(f"alarms/{name}", index),
            ua.QualifiedName(name, index),
            objecttype=ObjectIds.AlarmConditionType,
            instantiate_optional=False,
        )
        generator = EventGenerator(server.iserver.isession)
        await generator.init(ObjectIds.AlarmConditionType, add_generates_event=False)
        event = generator.event
        event.NodeId = node.nodeid
        event.SourceNode = machine.nodeid
        event.SourceName = (await machine.read_browse_name()).Name
        event.ConditionName = name
        event.ConditionClassId = ua.NodeId(ua.Int32(ObjectIds.ProcessConditionClassType))
        event.ConditionClassName = ua.LocalizedText("Process")
        event.BranchId = ua.NodeId()
        event.Quality = ua.StatusCode()
        event.Severity = alarm.kind.severity
        event.EnabledState = ua.LocalizedText("Enabled")
        setattr(event, "EnabledState/Id", True)
        event.SuppressedOrShelved = False
        shown = cls(node, generator, alarm)
        await shown._write_states()
        return shown

    @property
    def event_id(self) -> bytes | None:
        """The identifier of the last event; None before the first."""
        given = self._generator.event.EventId
        return None if given is None else getattr(given, "Value", given)

    async def method(self, name: str) -> ua.NodeId:
        return (await self.node.get_child(f"0:{name}")).nodeid

    async def tell(self, comment: ua.LocalizedText | None = None) -> None:
        """Send an event with the state of now, and show it in the object."""
        event, alarm = self._generator.event, self.alarm
        event.Message = ua.LocalizedText(alarm.message)
        event.Retain = alarm.retained
        event.ActiveState = ua.LocalizedText("Active" if alarm.active else "Inactive")
        setattr(event, "ActiveState/Id", alarm.active)
        # Not ActiveState/TransitionTime: the library (2.1.0) cannot send that field once it has a value.
        event.AckedState = ua.LocalizedText("Acknowledged" if alarm.acked else "Unacknowledged")
        setattr(event, "AckedState/Id", alarm.acked)
        if comment is not None:
            event.Comment = comment
        await self._write_states()
        await self._generator.trigger(stamp(alarm.since_ns))

    async def _write_states(self) -> None:
        alarm = self.alarm
        values = {
            "0:Severity": ua.Variant(alarm.kind.severity, ua.VariantType.UInt16),
            "0:Message": ua.Variant(ua.LocalizedText(alarm.message)),
            "0:Retain": ua.Variant(alarm.retained),
            "0:ConditionName": ua.Variant(alarm.kind.name),
            "0:ActiveState": ua.Variant(ua.LocalizedText("Active" if alarm.active else "Inactive")),
            "0:ActiveState/0:Id": ua.Variant(alarm.active),
            "0:AckedState": ua.Variant(ua.LocalizedText("Acknowledged" if alarm.acked else "Unacknowledged")),
            "0:AckedState/0:Id": ua.Variant(alarm.acked),
        }
        for path, value in values.items():
            child = await self.node.get_child(path.split("/"))
            await child.write_value(value)
