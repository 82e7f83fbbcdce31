"""The proof that machines are only read: servers and a broker that note whatever is asked of them or told them."""

from __future__ import annotations

import ast
import asyncio
import json
import re
import signal
import time
from collections import Counter
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from asyncua import Client, ua

from collector.opcua.browse import Bounds, browse
from collector.opcua.link import Link
from simulator.opcua.places import NAMESPACE
from simulator.opcua.security import Security
from tests.support.certificates import signed
from tests.support.collected_line import CollectedLine
from tests.support.hearer import Hearer
from tests.support.locked_line import LOGIN, accept_all, give_own
from tests.support.mosquitto import Mosquitto
from tests.support.opcua_server import OpcUaServer, ServedTag
from tests.support.proxy import Proxy
from tests.support.served_line import Elsewhere, served_elsewhere
from tests.support.service_calls import READING, REFRESHES, beyond_reading, recorded
from tests.support.small_line import TAGS, SmallLine
from tests.support.sparkplug_peer import DOUBLE, M, nbirth
from tests.support.sparkplug_peer import payload as told
from tests.support.sparkplug_wire import BOOLEAN
from tests.support.sparkplug_wire import payload as read

pytestmark = pytest.mark.timeout(240)

ROOT = Path(__file__).parents[2]
EDGE = signed("edge", uri="urn:test:edge")
SEEN_IN_A_LIFE = READING - {
    "FindServersRequest", "BrowseNextRequest", "DeleteSubscriptionsRequest", "DeleteMonitoredItemsRequest",
    "CloseSecureChannelRequest",
}  # fmt: skip
"""What the recorder must have seen, or it has not seen a whole life."""


@dataclass
class Machine:
    """A line with certificates, alarms and a history, and what is asked of it."""

    served: Elsewhere
    security: Security
    calls: Counter[str]


@pytest.fixture(scope="module")
def machine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Machine]:
    folder = tmp_path_factory.mktemp("server")
    security = Security(folder, users=dict([LOGIN]), policies=("None", "Basic256Sha256"))
    line = SmallLine(t0_ns=None)
    with (
        recorded() as calls,
        served_elsewhere(line, security=security, history=True, alarms=True) as served,
    ):
        yield Machine(served, security, calls)


@asynccontextmanager
async def collected(line: CollectedLine) -> AsyncIterator[CollectedLine]:
    await asyncio.to_thread(line.start)
    try:
        yield line
    finally:
        line.clear_up()


def opcua_text(name: str, endpoint: str, uri: str, tags: dict[str, str], *more: str) -> str:
    """A source's section; tags: path → unit, the node bears the path's name."""
    lines = ["\n[[source]]", f'name = "{name}"', 'kind = "opcua"', f'endpoint = "{endpoint}"', *more]
    lines += ["simulated = true", "[source.tags]"]
    for path, unit in tags.items():
        lines.append(f'"{path}" = {{ node = "nsu={uri};s={path}", unit = "{unit}" }}')
    return "\n".join(lines) + "\n"


async def test_in_a_whole_life_opcua_servers_are_asked_only_to_tell(machine: Machine, tmp_path: Path) -> None:
    before, endpoint = Counter(machine.calls), machine.served.serving.endpoint
    units = {t.path: t.unit for t in TAGS}
    paths, half = list(units), len(TAGS) // 2
    login = (
        'security = "Basic256Sha256/SignAndEncrypt"', f'user = "{LOGIN[0]}"', 'password_env = "READER_PASSWORD"',
    )  # fmt: skip
    other = OpcUaServer(tmp_path, {"other.c.pv": ServedTag(live=True, remembered=True)}, memory={"page": 3})
    await other.start()
    try:
        async with Proxy.to(other.port) as proxy:
            a = opcua_text("a", endpoint, NAMESPACE, {p: units[p] for p in paths[:half]}, *login)
            b = opcua_text("b", endpoint, NAMESPACE, {p: units[p] for p in paths[half:]})
            there = f"opc.tcp://127.0.0.1:{proxy.port}"
            c = opcua_text("c", there, "urn:test:machine", {"other.c.pv": "1"})
            line = CollectedLine(tmp_path / "line", a + b + c, {"READER_PASSWORD": LOGIN[1]})
            give_own(line.folder / "pki", EDGE)
            (machine.security.trusted / "edge.der").write_bytes(EDGE.der)
            async with Link.opened(endpoint) as link:
                await browse(link, Bounds(), lambda what, done: None)
            async with collected(line):
                await _live(line, machine, other, proxy)
                line.file.write_text(line.file.read_text(encoding="utf-8").replace(c, ""), encoding="utf-8")
                assert line.process is not None
                line.process.send_signal(signal.SIGHUP)
                await line.until(lambda: bool(line.told("line-file-read")), "the file read anew")
                await asyncio.to_thread(line.end)
        calls = Counter(machine.calls) - before + await other.called()
    finally:
        other.kill()
    assert set(calls) >= SEEN_IN_A_LIFE and set(calls) & REFRESHES
    assert beyond_reading(calls) == set()


async def _live(line: CollectedLine, machine: Machine, other: OpcUaServer, proxy: Proxy) -> None:
    """Trust, connect, miss a message, lose the connection, fill the gaps, be killed, and fill again."""
    await line.until(lambda: bool(line.told("source-refused")), "the refusal")
    accept_all(line.folder / "pki")
    await line.until(lambda: {e.by for e in line.told("source-connected")} == set("abc"), "connections")
    await other.swallow(forget=False)
    async with asyncio.timeout(30.0):
        while not (await other.called())["RepublishRequest"]:  # noqa: ASYNC110  (a server cannot wake a test)
            await asyncio.sleep(0.1)
    proxy.cut()
    machine.served.loop.call_soon_threadsafe(machine.served.line.drop)
    await line.until(lambda: {e.by for e in line.told("gap-filled")} == set("abc"), "gaps filled")
    await asyncio.to_thread(line.end, signal.SIGKILL)
    await asyncio.to_thread(line.start)
    await line.until(lambda: Counter(e.by for e in line.told("gap-filled"))["a"] > 1, "a gap filled again")


async def test_the_recorder_catches_whoever_writes(machine: Machine) -> None:
    before = Counter(machine.calls)
    async with Client(machine.served.serving.endpoint) as client:
        index = await client.get_namespace_index(NAMESPACE)
        node = client.get_node(ua.NodeId(TAGS[0].path, index))
        await node.read_value()
        assert beyond_reading(Counter(machine.calls) - before) == set()
        disable = ua.CallMethodRequest(ua.NodeId(ua.Int32(2782)), ua.NodeId(ua.Int32(9028)))
        deeds = [
            node.write_value(1.0),
            client.nodes.objects.add_folder(index, "mine"),
            client.delete_nodes([client.nodes.objects]),
            client.register_nodes([node]),
            client.uaclient.session.call([disable]),
        ]
        for deed in deeds:
            await asyncio.gather(deed, return_exceptions=True)
    assert beyond_reading(Counter(machine.calls) - before) == {
        "WriteRequest", "AddNodesRequest", "DeleteNodesRequest", "RegisterNodesRequest", "Call i=2782 i=9028",
    }  # fmt: skip


CHANGING = {
    "write", "write_attribute", "write_attributes", "write_params", "write_value", "set_value", "set_attribute",
    "add_nodes", "add_references", "delete_nodes", "delete_references", "register_nodes", "history_update",
    "call_method", "set_monitoring_mode", "modify_monitored_items",
}  # fmt: skip
"""What the library calls its services that do more than read."""


def called(folder: str) -> Iterator[tuple[str, str]]:
    """Every method that the code in a folder of the collector calls: file and name."""
    for file in sorted((ROOT / "collector" / folder).glob("*.py")):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                yield file.name, node.func.attr


def test_no_code_is_there_that_could_change_a_machine() -> None:
    opcua = list(called("opcua"))
    assert ("history.py", "history_read") in opcua
    # Our own key and certificate are written into files.
    assert [c for c in opcua if c[1] in CHANGING] == [("own.py", "write")]
    assert [c for c in opcua if c[1] == "call"] == [("link.py", "call")]
    told = {file for file, name in called("mqtt") if name == "publish"}
    assert told and not any("json" in file for file in told)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path / "broker", "log_type all") as broker:
        yield broker


def published_by(client_id: str, log: str) -> set[str]:
    """The topics that a client published to, and that of its will, by the broker's own log."""
    said = re.findall(rf"Received PUBLISH from {re.escape(client_id)} \(.*?'(.*?)'", log)
    # The will is told in the two lines after the client's connection.
    wills = re.findall(rf"as {re.escape(client_id)} \(.*\n.*Will message specified.*\n\S*\s+(\S+)", log)
    return {*said, *wills}


MQTT_SOURCES = """
[[source]]
name = "json"
kind = "mqtt-json"
broker = "mqtt://127.0.0.1:PORT"
[[source.message]]
topic = "plant/+"
name = "{1}"
value = "/v"
time = "/t"
time_format = "ns"
[source.tags]
"a.json.pv" = { name = "x", unit = "1" }

[[source]]
name = "nodes"
kind = "sparkplug"
broker = "mqtt://127.0.0.1:PORT"
group = "g"
host_id = "recorder"
[source.tags]
"a.node.pv" = { metric = "n1//b", unit = "1" }
"""
COMMAND, STATE = "spBv1.0/g/NCMD/n1", "spBv1.0/STATE/recorder"


class Machines(Hearer):
    """Hears every message that passes the broker, and talks as a machine that speaks JSON and as an edge node."""

    def commands(self) -> list[bytes]:
        return [body for topic, body, *_ in self.messages if topic == COMMAND]

    async def say(self, topic: str, body: bytes) -> None:
        await asyncio.to_thread(self.publish, topic, body)

    async def say_json(self, value: float) -> None:
        await self.say("plant/x", json.dumps({"v": value, "t": time.time_ns()}).encode())

    async def be_born(self, value: float) -> None:
        ms = time.time_ns() // 1_000_000
        await self.say("spBv1.0/g/NBIRTH/n1", nbirth(M("b", 2, ms, 10, (DOUBLE, value)), ms=ms))

    async def say_metric(self, value: float, seq: int) -> None:
        ms = time.time_ns() // 1_000_000
        await self.say("spBv1.0/g/NDATA/n1", told(M(alias=2, ms=ms, value=(DOUBLE, value)), ms=ms, seq=seq))


@pytest.mark.broker
async def test_in_a_whole_life_a_broker_is_told_our_state_and_the_rebirth_and_nothing_else(
    broker: Mosquitto, tmp_path: Path
) -> None:
    line = CollectedLine(tmp_path / "line", MQTT_SOURCES.replace("PORT", str(broker.port)))
    machines = await asyncio.to_thread(Machines, broker.port, "#")
    try:
        async with collected(line):
            await _told_over_mqtt(line, broker, machines)
    finally:
        machines.close()
    log = broker.said()
    assert "as meltledger-pilot-json (" in log
    assert published_by("meltledger-pilot-json", log) == set()
    assert published_by("meltledger-pilot-nodes", log) == {COMMAND, STATE}
    for body in machines.commands():
        (metric,) = read(body).metrics
        assert (metric.name, metric.datatype, metric.value) == ("Node Control/Rebirth", BOOLEAN, True)
    states = [json.loads(body) for topic, body, *_ in machines.messages if topic == STATE]
    # What the broker kept of a connection that ended is set right, so that the same may be said twice.
    said = [online for online, _ in groupby(s["online"] for s in states)]
    assert said[0] and not said[-1] and said.count(False) >= 2
    assert all(set(s) == {"online", "timestamp"} for s in states)


async def _told_over_mqtt(line: CollectedLine, broker: Mosquitto, machines: Machines) -> None:
    """Samples, faults, a broker that goes, a kill, and a goodbye."""
    await line.until(lambda: len(machines.commands()) == 1, "a request to be born")
    await machines.be_born(1.0)
    await machines.say_json(1.0)
    await machines.say("plant/x", b"{ no JSON")
    await line.until(lambda: line.samples("a.json.pv") == line.samples("a.node.pv") == 1, "first samples")
    await machines.say_metric(2.0, seq=5)
    await machines.say("spBv1.0/g/NDATA/n1", b"\xff\x00 hostile")
    await line.until(lambda: len(machines.commands()) == 2, "a request because of a gap")
    await machines.be_born(3.0)
    await asyncio.to_thread(line.end, signal.SIGKILL)
    await machines.say_json(2.0)
    await asyncio.to_thread(line.start)
    await line.until(lambda: line.samples("a.json.pv") == 2, "what the broker kept")
    await line.until(lambda: len(machines.commands()) == 3, "a request after the kill")
    connections = len(line.told("source-connected"))
    await asyncio.to_thread(broker.stop)
    await asyncio.to_thread(broker.start)
    await line.until(lambda: len(line.told("source-connected")) == connections + 2, "the broker again")
    await line.until(lambda: len(machines.commands()) >= 4, "a request after the broker's restart")
    await asyncio.to_thread(line.end)


@pytest.mark.broker
def test_a_brokers_log_catches_whoever_publishes(broker: Mosquitto) -> None:
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, "meltledger-pilot-json")
    client.will_set("plant/last-words", b"x", 1)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    client.publish("plant/set-point", b"300", 1).wait_for_publish(10.0)
    client.disconnect()
    client.loop_stop()
    assert published_by("meltledger-pilot-json", broker.said()) == {"plant/set-point", "plant/last-words"}
    assert published_by("meltledger-pilot-nodes", broker.said()) == set()
