"""A whole line against a simulated machine: its health, the machine's own alarms, and a port that is taken."""

from __future__ import annotations

import asyncio
import json
import socket
import urllib.error
import urllib.request
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import structlog
from prometheus_client.parser import text_string_to_metric_families

from collector.health import watch
from historian import NS, EmbeddedStore
from meltledger.config import LineConfig, load
from meltledger.wiring import run_line
from rules.entry import EntryKind
from rules.journal import Journal
from simulator.opcua.places import NAMESPACE
from tests.simulator.opcua.test_conditions import ALARM, _Jump
from tests.support.ports import free_port
from tests.support.served_line import Elsewhere, served_elsewhere

FILE = """
[line]
name = "line-1"
zone = "Europe/Madrid"

[store]
path = "data"

[metrics]
port = {port}

[[source]]
name = "press-1"
kind = "opcua"
endpoint = "{endpoint}"
simulated = true
clock = "own"

[source.tags]
"line.power.pv" = {{ node = "nsu={namespace};s=line.power.pv" }}
"extruder.zone.2.temp.sp" = {{ node = "nsu={namespace};s=extruder.zone.2.temp.sp" }}
"""


@pytest.fixture(autouse=True)
def quiet(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(watch, "EVERY_NS", NS)
    with structlog.testing.capture_logs():
        yield


@pytest.fixture(scope="module")
def machine() -> Iterator[Elsewhere]:
    with served_elsewhere(_Jump(start_s=0), speed=20.0, alarms=True) as served_line:
        yield served_line


@dataclass
class Running:
    """A line that runs, and what may be read of it."""

    config: LineConfig
    port: int

    async def get(self, path: str) -> tuple[int, str]:
        return await asyncio.to_thread(get, self.port, path)

    async def until(self, true: Callable[[], Any]) -> None:
        async with asyncio.timeout(40.0):
            while not true():  # noqa: ASYNC110  (a file cannot wake a test)
                await asyncio.sleep(0.1)


def get(port: int, path: str) -> tuple[int, str]:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=20.0) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.read().decode()
    except OSError:
        return 0, ""


@asynccontextmanager
async def running(folder: Path, endpoint: str, port: int) -> AsyncIterator[Running]:
    file = folder / "line.toml"
    file.write_text(FILE.format(port=port, endpoint=endpoint, namespace=NAMESPACE), encoding="utf-8")
    config, stop = load(file), asyncio.Event()
    task = asyncio.create_task(run_line(config, stop))
    try:
        yield Running(config, port)
    finally:
        stop.set()
        await task


async def test_a_line_tells_its_health_and_its_machines_own_alarms(
    tmp_path: Path, machine: Elsewhere
) -> None:
    async with running(tmp_path, machine.serving.endpoint, free_port()) as line:
        await line.until(lambda: get(line.port, "/healthz")[0] == 200)
        await line.until(
            lambda: 'received_samples_total{line="line-1",source="press-1"}' in get(line.port, "/metrics")[1]
        )
        with_journal = Journal.open(line.config.journal, "read")
        await line.until(lambda: with_journal.machine_alarms(over=True))
        alarm = next(e for e in with_journal.entries(kinds=(EntryKind.MACHINE,)))
        assert (alarm.by, alarm.data["data"]["name"]) == ("press-1", ALARM)
        assert alarm.subject == f"nsu={NAMESPACE};s=alarms/{ALARM}"
        assert with_journal.alarms(normal=True) == []
        with_journal.close()
        reader = EmbeddedStore.open(line.config.folder, mode="read")
        await line.until(lambda: reader.latest(["edge.source.press_1.rate.calc"]))
        kept = {p: s.value for p, s in reader.latest().items() if p.startswith("edge.")}
        reader.close()
        assert kept["edge.source.press_1.state"] == 1.0
        assert kept["edge.store.disk.free.calc"] > 0
        # A clock of its own tells nothing of lateness.
        assert "edge.source.press_1.lag.calc" not in kept
        status, text = await line.get("/healthz")
        told = json.loads(text)
        assert (status, told["line"], told["sources"]["press-1"]["state"]) == (200, "line-1", "connected")
        names = {f.name for f in text_string_to_metric_families((await line.get("/metrics"))[1])}
        assert "meltledger_store_disk_free_bytes" in names
    assert get(line.port, "/healthz")[0] == 0


async def test_a_restart_tells_no_alarm_twice(tmp_path: Path, machine: Elsewhere) -> None:
    for _ in range(2):
        async with running(tmp_path, machine.serving.endpoint, free_port()) as line:
            await line.until(lambda: get(line.port, "/healthz")[0] == 200)
            await line.until(lambda: _told(line.config))
    told = [
        (d["condition"], d["event_id"]) for d in _told(line.config) if "not standing" not in str(d["changes"])
    ]
    assert len(told) == len(set(told))


def _told(config: LineConfig) -> list[dict[str, Any]]:
    journal = Journal.open(config.journal, "read")
    found = [e.data["data"] for e in journal.entries(kinds=(EntryKind.MACHINE,))]
    journal.close()
    return found


async def test_a_port_that_is_taken_is_said_and_the_line_is_recorded(
    tmp_path: Path, machine: Elsewhere
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        async with running(tmp_path, machine.serving.endpoint, taken.getsockname()[1]) as line:
            await line.until((line.config.folder / "recent.db").exists)
            reader = EmbeddedStore.open(line.config.folder, mode="read")
            await line.until(lambda: reader.latest(["line.power.pv"]))
            reader.close()
    journal = Journal.open(line.config.journal, "read")
    (event,) = [e for e in journal.entries(kinds=(EntryKind.EVENT,)) if e.data["kind"] == "metrics-trouble"]
    journal.close()
    assert "The line is recorded, but" in event.data["text"]
    assert "[metrics] port" in event.data["text"]
