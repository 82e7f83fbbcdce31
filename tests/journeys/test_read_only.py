"""The proof that machines are only read: servers and a broker that note whatever is asked of them or told them."""

from __future__ import annotations

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

from simulator.opcua.places import NAMESPACE
from simulator.opcua.security import Security
from tests.support.certificates import signed
from tests.support.collected_line import CollectedLine
from tests.support.hearer import Hearer
from tests.support.locked_line import LOGIN, give_own
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
            await asyncio.to_thread(line.verb, "discover", endpoint, "-o", str(tmp_path / "found.toml"))
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
    (folder,) = json.loads(await asyncio.to_thread(line.verb, "trust", str(line.file), "--json"))
    await asyncio.to_thread(line.verb, "trust", str(line.file), folder["waiting"][0]["thumbprint"][:16])
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


JSON_KEYS = """
[[source.message]]
topic = "plant/+"
name = "{1}"
value = "/v"
time = "/t"
time_format = "ns"
"""


@pytest.mark.broker
async def test_the_json_source_publishes_nothing_at_all(broker: Mosquitto, tmp_path: Path) -> None:
    text = f'\n[[source]]\nname = "json"\nkind = "mqtt-json"\nbroker = "mqtt://127.0.0.1:{broker.port}"\n'
    line = CollectedLine(
        tmp_path / "line", f'{text}{JSON_KEYS}[source.tags]\n"a.b.pv" = {{ name = "x", unit = "1" }}\n'
    )
    hearer = await asyncio.to_thread(Hearer, broker.port, "#")
    own: list[bytes] = []

    async def tell(body: bytes) -> None:
        own.append(body)
        await asyncio.to_thread(hearer.publish, "plant/x", body)

    def good(v: int) -> bytes:
        return json.dumps({"v": v, "t": time.time_ns()}).encode()

    try:
        async with collected(line):
            await line.until(lambda: bool(line.told("source-connected")), "the connection")
            await tell(good(1))
            await tell(b"{ no JSON")
            await line.until(lambda: line.samples("a.b.pv") == 1, "the first sample")
            await asyncio.to_thread(broker.stop)
            await asyncio.to_thread(broker.start)
            await line.until(lambda: len(line.told("source-connected")) == 2, "the connection again")
            await tell(good(2))
            await line.until(lambda: line.samples("a.b.pv") == 2, "the second sample")
            await asyncio.to_thread(line.end, signal.SIGKILL)
            await tell(good(3))
            await asyncio.to_thread(line.start)
            await line.until(lambda: line.samples("a.b.pv") == 3, "the third sample")
            await asyncio.to_thread(line.end)
    finally:
        hearer.close()
    log = broker.said()
    assert "as meltledger-pilot-json (" in log
    assert published_by("meltledger-pilot-json", log) == set()
    assert [body for _, body, *_ in hearer.messages] == own


COMMAND, STATE = "spBv1.0/g/NCMD/n1", "spBv1.0/STATE/recorder"


@pytest.mark.broker
async def test_the_sparkplug_host_publishes_its_state_and_the_rebirth_and_nothing_else(
    broker: Mosquitto, tmp_path: Path
) -> None:
    text = f'\n[[source]]\nname = "nodes"\nkind = "sparkplug"\nbroker = "mqtt://127.0.0.1:{broker.port}"\n'
    text += 'group = "g"\nhost_id = "recorder"\n[source.tags]\n"a.b.pv" = { metric = "n1//b", unit = "1" }\n'
    line = CollectedLine(tmp_path / "line", text)
    hearer = await asyncio.to_thread(Hearer, broker.port, "#")

    def commands() -> list[bytes]:
        return [body for topic, body, *_ in hearer.messages if topic == COMMAND]

    async def be_born(value: float) -> None:
        ms = time.time_ns() // 1_000_000
        birth = nbirth(M("b", 2, ms, 10, (DOUBLE, value)), ms=ms)
        await asyncio.to_thread(hearer.publish, "spBv1.0/g/NBIRTH/n1", birth)

    try:
        async with collected(line):
            await line.until(lambda: len(commands()) == 1, "a request to be born")
            await be_born(1.0)
            await line.until(lambda: line.samples("a.b.pv") == 1, "the birth")
            ms = time.time_ns() // 1_000_000
            skipped = told(M(alias=2, ms=ms, value=(DOUBLE, 2.0)), ms=ms, seq=5)
            await asyncio.to_thread(hearer.publish, "spBv1.0/g/NDATA/n1", skipped)
            await line.until(lambda: len(commands()) == 2, "a request because of a gap")
            await be_born(3.0)
            await asyncio.to_thread(hearer.publish, "spBv1.0/g/NDATA/n1", b"\xff\x00 hostile")
            await asyncio.to_thread(line.end, signal.SIGKILL)
            await asyncio.to_thread(line.start)
            await line.until(lambda: len(commands()) == 3, "a request after the kill")
            await asyncio.to_thread(line.end)
    finally:
        hearer.close()
    assert published_by("meltledger-pilot-nodes", broker.said()) == {COMMAND, STATE}
    for body in commands():
        (metric,) = read(body).metrics
        assert (metric.name, metric.datatype, metric.value) == ("Node Control/Rebirth", BOOLEAN, True)
    states = [json.loads(body) for topic, body, *_ in hearer.messages if topic == STATE]
    # What the broker kept of the killed one is set right, so that the same may be said twice.
    assert [online for online, _ in groupby(s["online"] for s in states)] == [True, False, True, False]
    assert all(set(s) == {"online", "timestamp"} for s in states)


@pytest.mark.broker
def test_the_broker_s_log_catches_whoever_publishes(broker: Mosquitto) -> None:
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, "meltledger-pilot-json")
    client.will_set("plant/last-words", b"x", 1)
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    client.publish("plant/set-point", b"300", 1).wait_for_publish(10.0)
    client.disconnect()
    client.loop_stop()
    assert published_by("meltledger-pilot-json", broker.said()) == {"plant/set-point", "plant/last-words"}
    assert published_by("meltledger-pilot-nodes", broker.said()) == set()
