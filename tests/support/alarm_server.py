"""A real OPC UA server whose alarms a test rules: told, acknowledged, forgotten, told of anew after a restart."""

from __future__ import annotations

import asyncio
import logging
import threading
from collections.abc import Coroutine
from dataclasses import dataclass, field
from typing import Any

from asyncua import Server, ua
from asyncua.server.event_generator import EventGenerator
from asyncua.ua.object_ids import ObjectIds

from tests.support.ports import free_port

URI = "urn:test:alarms"
REFRESH_SEVERITY = 100


@dataclass
class AlarmServer:
    """Serves alarms of any type, in a thread of its own.

    Attributes:
        namespaces: URIs after those that every server has; the alarms are in ``URI``.
        refreshes: whether it has ConditionRefresh.
        speaks: whether its Server object lets clients subscribe to events.
        called: every method that clients called, by the number of its node.
    """

    namespaces: list[str] = field(default_factory=lambda: [URI])
    refreshes: bool = True
    speaks: bool = True
    port: int = field(default_factory=free_port)
    called: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._server: Server | None = None
        self._alarms: dict[str, EventGenerator] = {}
        self._loop: asyncio.AbstractEventLoop
        self._thread: threading.Thread | None = None

    @property
    def endpoint(self) -> str:
        """Its address."""
        return f"opc.tcp://127.0.0.1:{self.port}/"

    def start(self) -> None:
        """Start, and come back when it listens."""
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever)
        self._thread.start()
        asyncio.run_coroutine_threadsafe(self._start(), self._loop).result(60.0)

    def stop(self) -> None:
        """Stop; clients lose it."""
        if self._thread is not None:
            asyncio.run_coroutine_threadsafe(self._stop(), self._loop).result(30.0)
            self._loop.call_soon_threadsafe(self._loop.stop)
            self._thread.join()
            self._loop.close()
            self._thread = None

    async def tell(self, name: str, **how: Any) -> bytes:
        """Send an alarm's event; gives its number. See ``_tell`` for what may be said."""
        return await self._there(self._tell(name, **how))

    async def say(self, message: str, severity: int, kind: int = ObjectIds.BaseEventType) -> None:
        """Send an event that is no condition's."""
        await self._there(self._say(message, severity, kind))

    async def let_speak(self) -> None:
        """Let clients subscribe to events from now on."""
        await self._there(self._notifies(True))

    async def _notifies(self, speaks: bool) -> None:
        assert self._server is not None
        notifier = ua.DataValue(ua.Variant(int(speaks), ua.VariantType.Byte))
        await self._server.nodes.server.write_attribute(ua.AttributeIds.EventNotifier, notifier)

    async def _there(self, deed: Coroutine[Any, Any, Any]) -> Any:
        return await asyncio.wrap_future(asyncio.run_coroutine_threadsafe(deed, self._loop))

    async def _start(self) -> None:
        logging.getLogger("asyncua").setLevel(logging.CRITICAL)
        server = Server()
        if self.refreshes:
            server.iserver.bind_condition_methods = REFRESH_SEVERITY
        await server.init()
        server.set_endpoint(self.endpoint)
        for uri in self.namespaces:
            await server.register_namespace(uri)
        self._index = await server.get_namespace_index(URI)
        self._server, self._alarms = server, {}
        await self._notifies(self.speaks)
        self._listen(server)
        await server.start()

    async def _stop(self) -> None:
        assert self._server is not None
        self._unlisten()
        await self._server.stop()
        self._server = None
        left = asyncio.all_tasks() - {asyncio.current_task()}
        for task in left:
            task.cancel()
        await asyncio.gather(*left, return_exceptions=True)

    async def _tell(
        self,
        name: str,
        *,
        active: bool,
        acked: bool = False,
        kind: int = ObjectIds.AlarmConditionType,
        severity: int = 700,
        message: str = "too high",
        **states: Any,
    ) -> bytes:
        if name not in self._alarms:
            self._alarms[name] = await self._generator(name, kind)
        event = self._alarms[name].event
        event.Severity, event.Message = severity, ua.LocalizedText(message)
        event.Retain = active or not acked
        for state, value in {"ActiveState": active, "AckedState": acked}.items():
            setattr(event, state, ua.LocalizedText(str(value)))
            setattr(event, f"{state}/Id", value)
        for state, value in states.items():
            _set(event, state.replace("__", "/"), value)
        await self._alarms[name].trigger()
        given = event.EventId
        return bytes(getattr(given, "Value", given))

    async def _say(self, message: str, severity: int, kind: int) -> None:
        assert self._server is not None
        generator = EventGenerator(self._server.iserver.isession)
        await generator.init(kind, add_generates_event=False)
        generator.event.Severity, generator.event.SourceName = severity, "press"
        await generator.trigger(message=message)

    async def _generator(self, name: str, kind: int) -> EventGenerator:
        assert self._server is not None
        generator = EventGenerator(self._server.iserver.isession)
        await generator.init(kind, add_generates_event=False)
        event = generator.event
        event.NodeId = ua.NodeId(name, self._index)
        event.SourceNode, event.SourceName = ua.NodeId("filter", self._index), "filter"
        event.ConditionName = name
        event.ConditionClassName = ua.LocalizedText("Process")
        event.ConditionClassId = ua.NodeId(ua.Int32(ObjectIds.ProcessConditionClassType))
        event.BranchId, event.Quality = ua.NodeId(), ua.StatusCode()
        return generator

    def _listen(self, server: Server) -> None:
        """Note every method call."""
        session = type(server.iserver.isession)
        called, call = self.called, session.call

        async def heard(own: Any, requests: Any) -> Any:
            called.extend(int(r.MethodId.Identifier) for r in requests)
            return await call(own, requests)

        session.call = heard  # type: ignore[method-assign]
        self._unlisten = lambda: setattr(session, "call", call)


def _set(event: Any, name: str, value: Any) -> None:
    kinds = {bool: ua.VariantType.Boolean, str: ua.VariantType.String, ua.NodeId: ua.VariantType.NodeId}
    kind = kinds.get(type(value), ua.VariantType.LocalizedText)
    event.add_property(name, value, kind)


async def until(true: Any, timeout_s: float = 20.0) -> None:
    """Wait until something is true."""
    async with asyncio.timeout(timeout_s):
        while not true():  # noqa: ASYNC110  (a server cannot wake a test)
            await asyncio.sleep(0.02)
