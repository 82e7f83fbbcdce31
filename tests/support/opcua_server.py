"""A real OPC UA server in a process of its own, to be fed, killed and started again on the same port.

Run as a program it serves; imported it gives ``OpcUaServer``, which starts and steers that program.
"""

from __future__ import annotations

import asyncio
import json
import subprocess
import sys
import time
from collections import Counter
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from tests.support.opcua_memory import Memory, RememberingManager
from tests.support.ports import free_port
from tests.support.service_calls import recorded

URI = "urn:test:machine"
OVERFLOW = 0x0000_0480
"""Status of a good value before which the server's queue has run over."""

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class ServedTag:
    """A node of the server.

    Attributes:
        value: at the start; a text makes a node that holds texts.
        unit: EngineeringUnits text; empty for none.
        unit_number: EngineeringUnits number.
        live: whether it counts up by itself at the server's rate.
        age_s: how old the first value's time stamp is.
        remembered: whether the server keeps its history, and says so.
        stamped: whether its values bear a source time.
        range: EURange; None for none.
    """

    value: float | str = 0.0
    unit: str = ""
    unit_number: int = -1
    live: bool = False
    age_s: float = 0.0
    remembered: bool = False
    stamped: bool = True
    range: tuple[float, float] | None = None


@dataclass
class OpcUaServer:
    """Starts and steers a server.

    Attributes:
        folder: where it writes its log of what it served.
        tags: node name → what it serves.
        namespaces: URIs after those that every server has, in this order; the nodes are in ``URI``.
        rate_hz: of the live nodes.
        memory: how it answers for its history: fields of ``Memory``.
        retained: whether what it remembers outlives it, as in a machine with a disk of its own.
        limits: names of OperationLimits and other ServerCapabilities → what it says of them.
    """

    folder: Path
    tags: dict[str, ServedTag]
    namespaces: list[str] = field(default_factory=lambda: [URI])
    rate_hz: float = 5.0
    memory: dict[str, Any] = field(default_factory=dict)
    limits: dict[str, int] = field(default_factory=dict)
    retained: bool = False
    port: int = field(default_factory=free_port)
    _process: subprocess.Popen[str] | None = None

    @property
    def endpoint(self) -> str:
        """Its address."""
        return f"opc.tcp://127.0.0.1:{self.port}/"

    @property
    def log(self) -> Path:
        """One JSON line a value served: name, source time, value."""
        return self.folder / f"served-{self.port}.jsonl"

    async def start(self) -> None:
        """Start, and come back when it listens."""
        options = {
            "port": self.port,
            "namespaces": self.namespaces,
            "rate_hz": self.rate_hz,
            "log": str(self.log),
            "tags": {name: asdict(tag) for name, tag in self.tags.items()},
            "memory": self.memory,
            "limits": self.limits,
            "retained": self.retained,
        }
        self._process = subprocess.Popen(  # noqa: ASYNC220  (its pipes outlive the loop)
            [sys.executable, "-m", "tests.support.opcua_server", json.dumps(options)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parents[2],
        )
        assert (await self._answer()) == "ready"

    async def set(self, name: str, value: Any, *, status: int = 0, offset_s: float = 0.0) -> None:
        """Write a node; comes back when it is written."""
        await self.ask({"set": name, "value": value, "status": status, "offset_s": offset_s})

    async def clock(self, offset_s: float) -> None:
        """Set the source times of what comes from now on off the true time."""
        await self.ask({"clock": offset_s})

    async def quiet(self) -> None:
        """Stop the live nodes, so that what was served can be counted."""
        await self.ask({"quiet": True})

    async def swallow(self, *, forget: bool) -> None:
        """Lose the next message on the way.

        Args:
            forget: whether the server does not have it any more when it is asked to send it again.
        """
        await self.ask({"swallow": True, "forget": forget})

    async def remember(self, **changed: Any) -> dict[str, int]:
        """Answer for the history in another way from now on; gives how often it was asked and given back."""
        return json.loads((await self.ask({"memory": changed})).removeprefix("done "))

    async def called(self) -> Counter[str]:
        """How often each service call came, as ``service_calls`` names it."""
        return Counter(json.loads((await self.ask({"called": True})).removeprefix("done ")))

    async def ask(self, command: dict[str, Any]) -> str:
        """Send a command and wait until it is done."""
        assert self._process is not None and self._process.stdin is not None
        self._process.stdin.write(json.dumps(command) + "\n")
        self._process.stdin.flush()
        answer = await self._answer()
        assert answer.startswith("done")
        return answer

    def kill(self) -> None:
        """kill -9."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            for end in (self._process.stdin, self._process.stdout):
                if end is not None:
                    end.close()
            self._process = None

    def served(self) -> list[tuple[str, int, float]]:
        """What it has served so far: name, source time in nanoseconds, value."""
        rows = [json.loads(line) for line in self.log.read_text().splitlines()]
        return [(name, time_ns, value) for name, time_ns, value in rows]

    async def _answer(self) -> str:
        assert self._process is not None and self._process.stdout is not None
        return (await asyncio.to_thread(self._process.stdout.readline)).strip()


def _variant(value: float | str) -> Any:
    from asyncua import ua

    return ua.Variant(value, ua.VariantType.String if isinstance(value, str) else ua.VariantType.Double)


class _Served:
    """The server's side."""

    def __init__(self, options: dict[str, Any]) -> None:
        self.options = options
        self.nodes: dict[str, Any] = {}
        self.values = {n: t["value"] for n, t in options["tags"].items()}
        self.offset_s = 0.0
        self.live = [n for n, t in options["tags"].items() if t["live"]]
        self.log = open(options["log"], "a+", buffering=1, encoding="utf-8")  # noqa: SIM115
        self.memory = Memory(**options["memory"])
        self.calls: Counter[str] = Counter()
        # What it served before it was started again it still remembers.
        self.log.seek(0)
        for line in self.log:
            self.remember(*json.loads(line))

    async def build(self, server: Any) -> None:
        from asyncua import ua

        for uri in self.options["namespaces"]:
            await server.register_namespace(uri)
        index = await server.get_namespace_index(URI)
        folder = await server.nodes.objects.add_folder(index, "Machine")
        for name, tag in self.options["tags"].items():
            node = await folder.add_variable(ua.NodeId(name, index), name, _variant(tag["value"]))
            if tag["unit"] or tag["unit_number"] > 0:
                info = ua.EUInformation(
                    NamespaceUri="http://www.opcfoundation.org/UA/units/un/cefact",
                    UnitId=tag["unit_number"],
                    DisplayName=ua.LocalizedText(tag["unit"]),
                )
                await node.add_property(
                    ua.NodeId(f"{name}/EU", index),
                    ua.QualifiedName("EngineeringUnits", 0),
                    info,
                    datatype=ua.NodeId(ua.ObjectIds.EUInformation),
                )
            if tag["range"] is not None:
                await node.add_property(
                    ua.NodeId(f"{name}/Range", index),
                    ua.QualifiedName("EURange", 0),
                    ua.Range(*tag["range"]),
                    datatype=ua.NodeId(ua.ObjectIds.Range),
                )
            if tag["remembered"]:
                await node.write_attribute(ua.AttributeIds.Historizing, ua.DataValue(ua.Variant(True)))
                await node.set_attr_bit(ua.AttributeIds.AccessLevel, ua.AccessLevel.HistoryRead)
                await node.set_attr_bit(ua.AttributeIds.UserAccessLevel, ua.AccessLevel.HistoryRead)
            self.nodes[name] = node
            await self.write(name, tag["value"], offset_s=-tag["age_s"])

    async def write(self, name: str, value: Any, *, status: int = 0, offset_s: float = 0.0) -> None:
        from asyncua import ua

        # Whole microseconds, as the library's time stamps are.
        time_us = time.time_ns() // 1_000 + int(offset_s * 1e6)
        stamp = EPOCH + timedelta(microseconds=time_us)
        stamped = self.options["tags"][name]["stamped"]
        data = ua.DataValue(
            _variant(value) if value is not None else None,
            ua.StatusCode(status),
            SourceTimestamp=stamp if stamped else None,
            ServerTimestamp=stamp,
        )
        if isinstance(value, float) and status in (0, OVERFLOW):
            self.remember(name, time_us * 1_000, value)
            self.log.write(json.dumps([name, time_us * 1_000, value]) + "\n")
        await self.server.write_attribute_value(self.nodes[name].nodeid, data)

    def remember(self, name: str, time_ns: int, value: float) -> None:
        if self.options["tags"].get(name, {}).get("remembered"):
            self.memory.rows.setdefault(name, []).append((time_ns, value))

    async def open_memory(self) -> None:
        from asyncua import ua

        iserver = self.server.iserver
        names = {node.nodeid: name for name, node in self.nodes.items()}
        if self.options["retained"]:
            self.memory.rows.clear()
            written = Path(self.options["log"]).read_text(encoding="utf-8")  # noqa: ASYNC240  (once, at the start)
            for line in written.splitlines():
                self.remember(*json.loads(line))
        iserver.history_manager = RememberingManager(iserver, self.memory, names)
        for name, limit in self.options["limits"].items():
            number = getattr(ua.ObjectIds, f"Server_ServerCapabilities_{name}")
            kind = ua.VariantType.UInt16 if name.endswith("Points") else ua.VariantType.UInt32
            value = ua.DataValue(ua.Variant(limit, kind))
            await self.server.write_attribute_value(ua.NodeId(number), value)

    def swallow(self, *, forget: bool) -> None:
        """Lose the next message of every subscription on the way."""
        from asyncua import ua

        for subscription in self.server.iserver.subscription_service.subscriptions.values():
            send = subscription.pub_result_callback
            if subscription.pub_request_callback is None:
                continue

            async def lose(
                result: ua.PublishResult, request: Any, of: Any = subscription, send: Any = send
            ) -> None:
                if not result.NotificationMessage.NotificationData:
                    await send(result, request)
                    return
                of.pub_result_callback = send
                if forget:
                    of._not_acknowledged_results.clear()
                # The client still waits for an answer to this request.
                empty = ua.PublishResult(result.SubscriptionId)
                empty.NotificationMessage.SequenceNumber = result.NotificationMessage.SequenceNumber + 1
                await send(empty, request)

            subscription.pub_result_callback = lose

    async def count_up(self) -> None:
        period_s = 1 / self.options["rate_hz"]
        due = time.monotonic()
        while True:
            for name in self.live:
                self.values[name] += 1.0
                await self.write(name, self.values[name], offset_s=self.offset_s)
            due += period_s
            await asyncio.sleep(max(0.0, due - time.monotonic()))

    async def obey(self, command: dict[str, Any]) -> str:
        if "set" in command:
            offset_s = command["offset_s"] + self.offset_s
            await self.write(command["set"], command["value"], status=command["status"], offset_s=offset_s)
        elif "clock" in command:
            self.offset_s = command["clock"]
        elif "quiet" in command:
            self.live = []
        elif "swallow" in command:
            self.swallow(forget=command["forget"])
        elif "memory" in command:
            for name, value in command["memory"].items():
                setattr(self.memory, name, set(value) if name == "refused" else value)
            return json.dumps({"asked": self.memory.asked, "released": self.memory.released})
        elif "called" in command:
            return json.dumps(self.calls)
        return ""

    async def run(self) -> None:
        import logging

        from asyncua import Server

        logging.disable(logging.CRITICAL)
        self.server = server = Server()
        await server.init()
        server.set_endpoint(f"opc.tcp://127.0.0.1:{self.options['port']}/")
        await self.build(server)
        await self.open_memory()
        loop = asyncio.get_running_loop()
        with recorded() as self.calls:
            await self.serve(server, loop)

    async def serve(self, server: Any, loop: asyncio.AbstractEventLoop) -> None:
        async with server:
            counting = asyncio.create_task(self.count_up())
            print("ready", flush=True)
            while line := await loop.run_in_executor(None, sys.stdin.readline):
                answer = await self.obey(json.loads(line))
                print(f"done {answer}".strip(), flush=True)
            counting.cancel()


if __name__ == "__main__":
    asyncio.run(_Served(json.loads(sys.argv[1])).run())
