"""A machine on somebody else's OPC UA stack, collected by the whole program over cuts and a kill."""

from __future__ import annotations

import asyncio
import json
import re
import signal
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path

import numpy as np
import pytest

from collector.opcua import history
from collector.opcua.link import Link
from collector.opcua.nodes import resolve
from historian.frame import NS, Series
from historian.quality import HELD, is_bad, is_good
from rules.entry import Entry, EntryKind
from tests.journeys.campaign import not_once
from tests.support.collected_line import CollectedLine
from tests.support.node_peer import NodePeer
from tests.support.ports import free_port
from tests.support.proxy import Proxy

pytestmark = [pytest.mark.peers, pytest.mark.timeout(240)]

MS = 1_000_000
COUNTERS = {
    "count.1": "filter.inlet.pressure.pv",
    "count.2": "filter.outlet.pressure.pv",
    "count.3": "die.pressure.pv",
}
"""The machine's counters and our tags, all in bar; the machine tells count.3 in kPa, and we say no unit."""
IN_KPA = COUNTERS["count.3"]
KPA_IN_BAR = 100.0
LEVEL = "pump.inlet.pressure.pv"


class Machine(NodePeer):
    """The Node.js server."""

    @property
    def port(self) -> int:
        return int(self.arguments[0])

    def served(self) -> dict[str, dict[int, float]]:
        """What it served: name → source time in nanoseconds → value."""
        found: dict[str, dict[int, float]] = {}
        for name, ms, value in self.written("served.jsonl"):
            found.setdefault(name, {})[ms * MS] = value
        return found


@pytest.fixture(scope="module")
def machine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Machine]:
    machine = Machine("opcua_server.js", tmp_path_factory.mktemp("machine"), (str(free_port()),))
    machine.start()
    yield machine
    machine.kill()


def source_text(name: str, port: int, tags: dict[str, str], *more: str) -> str:
    lines = [
        "\n[[source]]",
        f'name = "{name}"',
        'kind = "opcua"',
        f'endpoint = "opc.tcp://127.0.0.1:{port}"',
        'sampling = "50 ms"',
        *more,
        "[source.tags]",
    ]
    for node, path in tags.items():
        lines.append(f'"{path}" = {{ node = "nsu=urn:test:another-stack;s={node}" }}')
    return "\n".join(lines) + "\n"


@asynccontextmanager
async def collected(line: CollectedLine) -> AsyncIterator[CollectedLine]:
    await asyncio.to_thread(line.start)
    try:
        yield line
    finally:
        line.clear_up()


def last_of(series: Series) -> int:
    good = series.time_ns[is_good(series.quality) & (series.quality != HELD)]
    return int(good[-1]) if len(good) else 0


def counts(stored: dict[str, Series], until_ns: int) -> dict[str, Series]:
    """The stored counters as the machine counts them, up to a moment."""
    found: dict[str, Series] = {}
    for path in COUNTERS.values():
        series = stored[path]
        n = int(np.searchsorted(series.time_ns, until_ns, side="right"))
        value = (series.value[:n] * KPA_IN_BAR).round(6) if path == IN_KPA else series.value[:n]
        found[path] = Series(series.time_ns[:n], value, series.quality[:n])
    return found


def own_alarms(line: CollectedLine) -> list[Entry]:
    return line.entries(EntryKind.MACHINE)


def said(line: CollectedLine) -> list[list[str]]:
    return [e.data["data"]["changes"] for e in own_alarms(line)]


async def test_over_a_cut_and_a_kill_every_sample_is_there_once_and_every_alarm(
    machine: Machine, tmp_path: Path
) -> None:
    async with Proxy.to(machine.port) as proxy:
        line = CollectedLine(tmp_path, source_text("other", proxy.port, {**COUNTERS, "level": LEVEL}))
        async with collected(line):
            await line.until(lambda: line.samples(COUNTERS["count.1"]) > 5, "samples")
            await asyncio.to_thread(machine.ask, "high")
            await line.until(lambda: ["came"] in said(line), "the machine's alarm")
            # This stack retains what was never wrong, so the refresh tells of it first.
            first, alarm = own_alarms(line)
            assert said(line) == [["told"], ["came"]] and not first.data["data"]["active"]
            assert alarm.by == alarm.rule == "other"
            assert alarm.data["data"]["name"] == "LevelHigh" and alarm.data["data"]["active"]

            proxy.refuse = True
            proxy.cut()
            await line.until(lambda: len(line.told("source-lost")) == 1, "the loss")
            cut_ns = last_of(line.stored()[COUNTERS["count.1"]])
            await asyncio.sleep(1.0)
            proxy.refuse = False
            await line.until(lambda: len(line.told("gap-filled")) == 1, "the gap filled")

            await asyncio.to_thread(line.end, signal.SIGKILL)
            await asyncio.sleep(1.0)
            await asyncio.to_thread(line.start)
            await line.until(lambda: len(line.told("gap-filled")) == 2, "the gap of the kill filled")
            await line.until(lambda: len(line.told("source-connected")) == 3, "connections")
            # It stood all the time: told anew by each connection, and kept once.
            assert said(line)[1:] == [["came"]]

            proxy.refuse = True
            proxy.cut()
            await line.until(lambda: len(line.told("source-lost")) == 2, "the second loss")
            await asyncio.to_thread(machine.ask, "low")
            proxy.refuse = False
            await line.until(lambda: len(said(line)) == 3, "the alarm's return")
            # What is over is acknowledged by itself on this machine.
            assert said(line)[1:] == [["came"], ["returned", "acknowledged"]]
            await line.until(lambda: len(line.told("gap-filled")) == 3, "the third gap filled")
            end_ns = max(machine.served()["count.1"])
            await line.until(lambda: last_of(line.stored()[COUNTERS["count.1"]]) >= end_ns, "the newest")
            await asyncio.to_thread(line.end)
    stored = line.stored()
    newest_ns = min(last_of(stored[path]) for path in COUNTERS.values())
    served = machine.served()
    record = {
        path: {t: v for t, v in served[name].items() if t <= newest_ns} for name, path in COUNTERS.items()
    }
    assert list(not_once(record, counts(stored, newest_ns))) == []
    # The record holds what no connection has seen: it came from the history.
    assert any(cut_ns < t < cut_ns + NS for t in record[COUNTERS["count.1"]])
    for path in COUNTERS.values():
        assert not is_bad(stored[path].quality[stored[path].time_ns <= newest_ns]).any(), path
    level = stored[LEVEL]
    assert set(level.value[is_good(level.quality)].tolist()) == {5.0, 150.0}


POLICIES = {
    "basic": "Basic256Sha256/SignAndEncrypt",
    "aes128": "Aes128_Sha256_RsaOaep/SignAndEncrypt",
    "aes256": "Aes256_Sha256_RsaPss/SignAndEncrypt",
}


def files_with(secret: bytes, folder: Path) -> list[Path]:
    return [f for f in folder.rglob("*") if f.is_file() and secret in f.read_bytes()]


async def test_under_every_policy_it_is_believed_only_when_a_person_accepts_its_certificate(
    machine: Machine, tmp_path: Path
) -> None:
    login = ('user = "reader"', 'password_env = "READER_PASSWORD"')
    tags = dict(zip(POLICIES, COUNTERS.items(), strict=True))
    sources = "".join(
        source_text(name, machine.port, dict([tags[name]]), f'security = "{policy}"', *login)
        for name, policy in POLICIES.items()
    )
    sources += source_text(
        "stranger", machine.port, {"level": LEVEL}, 'user = "nobody"', 'password_env = "READER_PASSWORD"'
    )
    line = CollectedLine(tmp_path, sources, {"READER_PASSWORD": "of-lines"})
    async with collected(line):
        await line.until(lambda: len(line.told("source-refused")) == 4, "refusals")
        refused = {e.by: e.data["text"] for e in line.told("source-refused")}
        # A password is not shown to a server that nobody knows, whatever the connection's policy.
        assert set(refused) == {*POLICIES, "stranger"}
        # It says itself what a person is to call.
        (thumbprint,) = {
            re.findall(r"meltledger trust \S+/line.toml ([0-9a-f]+)", t)[-1] for t in refused.values()
        }
        assert all(line.samples(path) == 0 for path in COUNTERS.values())

        await asyncio.to_thread(line.verb, "trust", str(line.file), thumbprint)
        await line.until(lambda: all(line.samples(path) > 5 for path in COUNTERS.values()), "samples")
        await line.until(lambda: len(line.told("source-refused")) == 5, "the stranger's refusal")
        assert "BadUserAccessDenied" in line.told("source-refused")[-1].data["text"]
        await asyncio.to_thread(line.end)
    assert {e.by for e in line.told("source-connected")} == set(POLICIES)
    newest_ns = min(last_of(line.stored()[path]) for path in COUNTERS.values())
    served = machine.served()
    record = {
        path: {t: v for t, v in served[name].items() if t <= newest_ns} for name, path in COUNTERS.items()
    }
    assert list(not_once(record, counts(line.stored(), newest_ns))) == []
    # The password stands in no file of ours.
    assert files_with(b"of-lines", tmp_path) == []


async def test_a_history_comes_in_the_servers_pages_whole_and_in_order(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(history, "VALUES_AT_ONCE", 1)  # so that 200 make a page
    served = sorted(machine.served()["old"].items())
    async with Link.opened(f"opc.tcp://127.0.0.1:{machine.port}") as link:
        assert (link.limits.read, link.limits.history, link.limits.items) == (3, 2, 2)
        nodes = [
            resolve(f"nsu=urn:test:another-stack;s={name}", link.namespaces) for name in ("old", "level")
        ]
        old, level = await history.read_raw(link, nodes, served[0][0], served[-1][0])
    assert old is not None and level is not None
    assert len(served) == 1500 and len(level) == 0
    times = old.source_ns.tolist()
    assert dict(zip(times, old.value.tolist(), strict=True)) == dict(served)
    # A full answer may be one that was cut off, so it is asked again from its end on.
    assert times == sorted(times) and len(times) <= len(served) + 1


async def test_its_address_space_is_drafted_and_the_draft_runs(machine: Machine, tmp_path: Path) -> None:
    line = CollectedLine(tmp_path, "")
    endpoint = f"opc.tcp://127.0.0.1:{machine.port}"
    found = await asyncio.to_thread(line.verb, "discover", endpoint, "-o", str(line.file), "--json")
    proposed = {f["node"].rpartition("s=")[2]: f for f in json.loads(found)["confirm"]}
    assert {name: (f["becomes"], f["unit"]) for name, f in proposed.items()} == {
        "count.1": ("filter.inlet.pressure.pv", "bar"),
        "count.3": ("die.pressure.pv", "kPa"),
    }
    async with collected(line):
        neutral = proposed["count.3"]["tag"]
        await line.until(lambda: line.samples(neutral) > 3, "samples under a neutral name")
        await asyncio.to_thread(line.end)
    series = line.stored()[neutral]
    assert set(line.stored()) == {f["tag"] for f in proposed.values()}
    served = machine.served()["count.3"]
    assert [served[t] for t in series.time_ns.tolist()] == series.value.tolist()
