"""A campaign of faults on a whole line: what its machines wrote down is in the store, once, or a marked gap."""

from __future__ import annotations

import asyncio
import os
import signal
import subprocess
import sys
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from historian.clocks.originals import shift_path, shift_window
from historian.embedded.store import EmbeddedStore
from historian.frame import NS, Series
from historian.quality import UNCERTAIN
from tests.journeys.campaign import Fault, FaultKind, as_stamped, not_explicit, not_once, plan
from tests.support.json_publisher import JsonPublisher
from tests.support.mosquitto import Mosquitto
from tests.support.opcua_server import OpcUaServer, ServedTag
from tests.support.proxy import Proxy

ROOT = Path(__file__).parents[2]
COUNTERS = [f"c{n}" for n in range(10)]
SOURCES = ("history", "plain", "queue")
QUEUE_KEYS = """
window = 100
[[source.message]]
topic = "plant/+"
name = "{1}"
value = "/v"
time = "/t"
time_format = "ns"
"""


@dataclass
class FaultyLine:
    """A line of three machines, each behind a network that can fail, and the process that collects them."""

    folder: Path
    servers: dict[str, OpcUaServer]
    broker: Mosquitto
    publisher: JsonPublisher
    proxies: dict[str, Proxy]
    outages: dict[str, list[tuple[int, int]]] = field(default_factory=lambda: {s: [] for s in SOURCES})
    process: subprocess.Popen[bytes] | None = None

    @property
    def file(self) -> Path:
        return self.folder / "line.toml"

    @property
    def clock(self) -> Path:
        return self.folder / "clock"

    def write_file(self) -> None:
        text = '[line]\nname = "campaign"\nzone = "UTC"\n\n[store]\npath = "data"\n'
        for name in ("history", "plain"):
            text += f'\n[[source]]\nname = "{name}"\nkind = "opcua"\n'
            text += f'endpoint = "opc.tcp://127.0.0.1:{self.proxies[name].port}/"\n[source.tags]\n'
            for counter in COUNTERS:
                node = f"nsu=urn:test:machine;s={counter}"
                text += f'"{name}.{counter}.pv" = {{ node = "{node}", unit = "1" }}\n'
        text += '\n[[source]]\nname = "queue"\nkind = "mqtt-json"\n'
        text += f'broker = "mqtt://127.0.0.1:{self.proxies["queue"].port}"\n'
        text += QUEUE_KEYS + "[source.tags]\n"
        for counter in COUNTERS:
            text += f'"queue.{counter}.pv" = {{ name = "{counter}", unit = "1" }}\n'
        self.file.write_text(text, encoding="utf-8")
        self.clock.write_text("0", encoding="ascii")

    def start_process(self) -> None:
        with (self.folder / "run.log").open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "tests.support.line_process", str(self.file), str(self.clock)],
                stdout=log,
                stderr=log,
                cwd=ROOT,
            )

    def end_process(self, number: signal.Signals) -> None:
        assert self.process is not None
        assert self.process.poll() is None, (self.folder / "run.log").read_text()[-3000:]
        os.kill(self.process.pid, number)
        assert self.process.wait(60.0) == (0 if number is signal.SIGTERM else -number)
        self.process = None

    def stored(self) -> dict[str, Series]:
        store = EmbeddedStore.open(self.folder / "data", mode="read")
        try:
            paths = [p for p in store.tags() if p.split(".")[0] in SOURCES]
            found = store.read(paths, 0, 2**62)
            shifts = {s: store.read([shift_path(s)], *shift_window(2**62))[shift_path(s)] for s in SOURCES}
            return {path: as_stamped(series, shifts[path.split(".")[0]]) for path, series in found.items()}
        finally:
            store.close()

    def recorded(self, source: str) -> dict[str, dict[int, float]]:
        rows = self.publisher.published() if source == "queue" else self.servers[source].served()
        found: dict[str, dict[int, float]] = {}
        for name, time_ns, value in rows:
            found.setdefault(f"{source}.{name}.pv", {})[time_ns] = value
        return found

    async def suffer(self, fault: Fault) -> None:
        """Let a fault happen and pass."""
        begin_ns = time.time_ns()
        match fault.kind:
            case FaultKind.NETWORK_CUT:
                proxy = self.proxies[fault.source]
                proxy.refuse = True
                proxy.cut()
                await asyncio.sleep(fault.lasts_s)
                proxy.refuse = False
            case FaultKind.HALF_OPEN:
                self.proxies[fault.source].freeze()
                await asyncio.sleep(fault.lasts_s)
                self.proxies[fault.source].thaw()
            case FaultKind.SERVER_KILLED:
                self.servers[fault.source].kill()
                await asyncio.sleep(fault.lasts_s)
                await self.servers[fault.source].start()
            case FaultKind.BROKER_RESTARTED:
                await asyncio.to_thread(self.broker.stop)
                await asyncio.sleep(fault.lasts_s)
                await asyncio.to_thread(self.broker.start)
            case FaultKind.PROCESS_KILLED:
                await asyncio.to_thread(self.end_process, signal.SIGKILL)
                await asyncio.sleep(fault.lasts_s)
                self.start_process()
            case FaultKind.CLOCK_STEPPED:
                now_ns = int(self.clock.read_text(encoding="ascii"))
                step_ns = int(fault.step_s) * NS
                self.clock.write_text(str(now_ns + step_ns if now_ns == 0 else 0), encoding="ascii")
                await asyncio.sleep(fault.lasts_s)
        for source in (fault.source,) if fault.source else SOURCES:
            self.outages[source].append((begin_ns, time.time_ns()))


@asynccontextmanager
async def faulty_line(folder: Path) -> AsyncIterator[FaultyLine]:
    """The line at work: all three machines run and are collected."""
    kept = {name: ServedTag(live=True, remembered=True) for name in COUNTERS}
    servers = {
        "history": OpcUaServer(folder, kept, retained=True),
        "plain": OpcUaServer(folder, {name: ServedTag(live=True) for name in COUNTERS}),
    }
    (folder / "broker").mkdir()
    with Mosquitto(folder / "broker", "max_inflight_messages 100") as broker:
        publisher = JsonPublisher(folder, broker.port, COUNTERS)
        async with (
            Proxy.to(servers["history"].port) as history,
            Proxy.to(servers["plain"].port) as plain,
            Proxy.to(broker.port) as queue,
        ):
            proxies = {"history": history, "plain": plain, "queue": queue}
            line = FaultyLine(folder, servers, broker, publisher, proxies)
            line.write_file()
            for server in servers.values():
                await server.start()
            try:
                line.start_process()
                await _until((folder / "data" / "recent.db").exists)
                await asyncio.sleep(
                    5.0
                )  # the session at the broker must be there before it can keep anything
                await asyncio.to_thread(publisher.start)
                yield line
            finally:
                publisher.end()
                for server in servers.values():
                    server.kill()
                if line.process is not None:
                    line.process.kill()
                    line.process.wait()


async def _until(true: Callable[[], bool]) -> None:
    async with asyncio.timeout(60.0):
        while not true():  # noqa: ASYNC110  (a file cannot wake a test)
            await asyncio.sleep(0.1)


async def run_campaign(folder: Path, faults: list[Fault]) -> None:
    """Suffer all faults, let everything calm down, and judge."""
    async with faulty_line(folder) as line:
        began = time.monotonic()
        await asyncio.sleep(5.0)
        for fault in faults:
            await asyncio.sleep(max(0.0, fault.at_s - (time.monotonic() - began)))
            print(f"{time.monotonic() - began:7.1f} s  {fault}", flush=True)
            await line.suffer(fault)
        await asyncio.sleep(15.0)
        # Machines fall silent first: what they say after the last flush is not ours to have.
        for server in line.servers.values():
            await server.quiet()
        await asyncio.to_thread(line.publisher.stop)
        await asyncio.sleep(10.0)
        await asyncio.to_thread(line.end_process, signal.SIGTERM)
        stored = line.stored()
        wrong = [w for source in ("history", "queue") for w in not_once(line.recorded(source), stored)]
        wrong += not_explicit(line.recorded("plain"), stored, line.outages["plain"])
        assert wrong == []
        counted = sum(len(s) for s in stored.values())
        unsure = sum(int((s.quality == UNCERTAIN).sum()) for s in stored.values())
        print(
            f"{len(faults)} faults, {counted} samples stored, none missing, none double, {unsure} uncertain"
        )


@pytest.mark.broker
@pytest.mark.timeout(400)
async def test_six_faults_lose_nothing_and_double_nothing(tmp_path: Path) -> None:
    await run_campaign(tmp_path, plan(11, 6, 72.0, SOURCES, longest_s=4.0, once_s=0.0))


@pytest.mark.broker
@pytest.mark.long
@pytest.mark.timeout(5400)
async def test_a_hundred_faults_in_an_hour_lose_nothing_and_double_nothing(tmp_path: Path) -> None:
    await run_campaign(tmp_path, plan(12, 100, 3600.0, SOURCES))
