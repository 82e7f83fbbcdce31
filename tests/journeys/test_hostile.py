"""Spoilt messages by the hundreds reach a line's broker: each good sample is kept once, nothing else happens."""

from __future__ import annotations

import json
import random
import re
import time
from collections.abc import AsyncIterator, Iterator, Mapping
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from urllib.request import urlopen

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from historian.frame import NS, Series
from tests.journeys.campaign import Record, not_explicit, not_once
from tests.journeys.line import LineUnderTest, told
from tests.support import sparkplug_peer as peer
from tests.support.json_publisher import JsonPublisher
from tests.support.mosquitto import Mosquitto
from tests.support.mutations import mutated
from tests.support.opcua_server import OpcUaServer, ServedTag
from tests.support.ports import free_port

pytestmark = pytest.mark.broker

SERVED = [f"served{n}" for n in range(10)]
SINGLE = [f"single{n}" for n in range(10)]
BATCHED = [f"batched{n}" for n in range(5)]
# What is spoilt names these, so that a spoilt message that can be read is no sample of the others.
VICTIMS = [f"x{n}" for n in range(5)]
METRICS = {
    "extruder.melt.temp.pv": "Cel",
    "extruder.head.pressure.pv": "bar",
    "filter.inlet.pressure.pv": "bar",
    "filter.dp.calc": "bar",
}
CLIENT = "hostile-line"
HUGE_BYTE = 40_000_000
MINUTE_NS = 60 * NS

FILE = """
[line]
name = "hostile"
zone = "UTC"

[store]
path = "data"

[metrics]
port = {metrics}

[[source]]
name = "plc"
kind = "opcua"
endpoint = "{endpoint}"
simulated = true
[source.tags]
{served}

[[source]]
name = "json"
kind = "mqtt-json"
broker = "mqtt://127.0.0.1:{broker}"
protocol = "3.1.1"
client_id = "{client}"
simulated = true
[[source.message]]
topic = "plant/+"
name = "{{1}}"
value = "/v"
time = "/t"
time_format = "ns"
[[source.message]]
topic = "batch/+"
name = "{{key}}"
each = "/s"
message_time = "/t"
time_format = "ms"
[source.tags]
{json}

[[source]]
name = "nodes"
kind = "sparkplug"
broker = "mqtt://127.0.0.1:{broker}"
group = "plant"
simulated = true
[source.tags]
{metric}
"""


def _tags(tags: Mapping[str, tuple[str, str, str]]) -> str:
    return "\n".join(f'"{p}" = {{ {key} = "{name}", unit = "{u}" }}' for p, (key, name, u) in tags.items())


@dataclass
class HostileLine(LineUnderTest):
    """A line of three sources, two of them at one broker.

    Attributes:
        batches: tag → source time → value, of the good batches.
    """

    broker_port: int = 0
    metrics_port: int = field(default_factory=free_port)
    batches: dict[str, dict[int, float]] = field(default_factory=dict)

    def write_file(self, endpoint: str) -> None:
        served = {f"plc.{n}.pv": ("node", f"nsu=urn:test:machine;s={n}", "1") for n in SERVED}
        names = {f"json.{n}.pv": ("name", n, "1") for n in (*SINGLE, *BATCHED, *VICTIMS)}
        metrics = {
            f"nodes.{path}": ("metric", f"line/{path.split('.')[0]}/{path.replace('.', '/')}", unit)
            for path, unit in METRICS.items()
        }
        text = FILE.format(
            metrics=self.metrics_port,
            endpoint=endpoint,
            broker=self.broker_port,
            client=CLIENT,
            served=_tags(served),
            json=_tags(names),
            metric=_tags(metrics | {"nodes.x.pv": ("metric", "hostile//x", "1")}),
        )
        self.file.write_text(text, encoding="utf-8")

    def start_node(self) -> None:
        """The Sparkplug edge node that tells the truth."""
        who = ["--group", "plant", "--edge-node", "line", "--ledger", str(self.folder / "nodes.csv")]
        where = ["--broker", f"mqtt://127.0.0.1:{self.broker_port}"]
        self._start("node", ["simulate", "trial_day", "--serve", "sparkplug", *who, *where])

    def metric(self, name: str, source: str) -> float:
        """A figure of ``/metrics``."""
        with urlopen(f"http://127.0.0.1:{self.metrics_port}/metrics", timeout=20) as answer:
            text = answer.read().decode()
        found = re.search(rf'^meltledger_source_{name}{{.*source="{source}"}} (\S+)$', text, re.MULTILINE)
        assert found is not None, f"{name} of {source} is not told"
        return float(found[1])


@contextmanager
def attacking(port: int) -> Iterator[Client]:
    """A client that publishes whatever it likes."""
    client = Client(CallbackAPIVersion.VERSION2, "attacker")
    client.max_inflight_messages_set(100)
    client.connect("127.0.0.1", port)
    client.loop_start()
    try:
        yield client
    finally:
        client.disconnect()
        client.loop_stop()


def spoilt_json(chance: random.Random, time_ns: int) -> tuple[str, bytes]:
    """A topic, and a message that a machine could have sent, spoilt."""
    if chance.random() < 0.6:
        topic = f"plant/{chance.choice([*VICTIMS, 'nobody', 'x0x', 'ünknöwn', ' '])}"
        real: object = {"t": time_ns, "v": round(chance.uniform(0.0, 300.0), 3)}
    else:
        topic = "batch/hostile"
        values = {name: round(chance.uniform(0.0, 300.0), 3) for name in (*VICTIMS, "nobody")}
        real = {"t": time_ns // 1_000_000, "s": values}
    return topic, mutated(json.dumps(real).encode(), chance)


def spoilt_metrics(chance: random.Random, time_ns: int) -> tuple[str, bytes]:
    """A Sparkplug topic, and a message spoilt: of a node of its own, or nothing that the good node could say."""
    ms, verb = time_ns // 1_000_000, chance.choice(["NBIRTH", "NDATA", "NDATA", "NDATA", "NDEATH", "DBIRTH"])
    if verb == "NBIRTH":
        real = peer.nbirth(peer.M("x", 7, ms, 10, (peer.DOUBLE, 1.0)), ms=ms)
    elif verb == "NDEATH":
        real = peer.ndeath(0)
    else:
        real = peer.payload(peer.M(None, 7, ms, None, (peer.DOUBLE, 2.0)), ms=ms, seq=chance.randrange(256))
    if chance.random() < 0.3:
        # Seven is no wire type: nobody can read it.
        return f"spBv1.0/plant/{verb}/line", b"\xff" + mutated(real, chance)
    return f"spBv1.0/plant/{verb}/hostile{'/dev' if verb[0] == 'D' else ''}", mutated(real, chance)


def attack(line: HostileLine, seed: int, count: int, rate_hz: float) -> None:
    """Publish so many spoilt messages, a good batch after every tenth, and one message of 40 MB."""
    chance, due = random.Random(seed), time.monotonic()
    with attacking(line.broker_port) as client:
        sent = []
        for number in range(count):
            make = spoilt_metrics if number % 5 == 4 else spoilt_json
            topic, body = make(chance, time.time_ns())
            sent.append(client.publish(topic, body, qos=1 if make is spoilt_json else 0))
            if number == count // 2:
                sent.append(client.publish("plant/x0", b'{"v": "' + b"A" * HUGE_BYTE, qos=1))
            if number % 10 == 9:
                ms = time.time_ns() // 1_000_000
                values = dict.fromkeys(BATCHED, float(number))
                sent.append(client.publish("batch/good", json.dumps({"t": ms, "s": values}), qos=1))
                for name in BATCHED:
                    line.batches.setdefault(f"json.{name}.pv", {})[ms * 1_000_000] = float(number)
            due += 1 / rate_hz
            time.sleep(max(0.0, due - time.monotonic()))
        for message in sent:
            message.wait_for_publish(60)


@asynccontextmanager
async def hostile_line(folder: Path) -> AsyncIterator[tuple[HostileLine, OpcUaServer, JsonPublisher]]:
    """All sources at work, and collected."""
    server = OpcUaServer(folder, {n: ServedTag(live=True) for n in SERVED})
    with Mosquitto(folder / "broker") as broker:
        line = HostileLine(folder / "line", broker_port=broker.port)
        line.write_file(server.endpoint)
        publisher = JsonPublisher(line.folder, broker.port, SINGLE)
        try:
            await server.start()
            line.start_node()
            line.start_run()
            line.until(lambda: line.samples_of("plc.served0.pv") > 3, 60, "samples over OPC UA")
            line.until(lambda: line.samples_of("nodes.filter.dp.calc") > 3, 60, "samples over Sparkplug")
            publisher.start()
            line.until(lambda: line.samples_of("json.single0.pv") > 3, 60, "samples over MQTT")
            yield line, server, publisher
        finally:
            publisher.end()
            server.kill()
            line.end()


def left_at_broker(port: int) -> tuple[bool, list[bytes]]:
    """Whether the broker has kept our session, and what it still holds for it."""
    kept: list[bool] = []
    held: list[bytes] = []

    def heard(_client: Client, _userdata: object, message: MQTTMessage) -> None:
        held.append(bytes(message.payload[:60]))

    client = Client(CallbackAPIVersion.VERSION2, CLIENT, clean_session=False)
    client.on_connect = lambda _c, _u, flags, *_: kept.append(flags.session_present)
    client.on_message = heard
    client.connect("127.0.0.1", port)
    end = time.monotonic() + 2.0
    while time.monotonic() < end:
        client.loop(0.1)
    client.disconnect()
    return kept == [True], held


def of_node(line: HostileLine, stored: Mapping[str, Series]) -> Record:
    """What the good node published of the metrics that are collected, up to the last that was heard."""
    found: dict[str, dict[int, float]] = {}
    for path in METRICS:
        last_ns = int(stored[f"nodes.{path}"].time_ns[-1])
        samples = line.published("nodes.csv")[path]
        found[f"nodes.{path}"] = {t: v for t, v in samples.items() if t <= last_ns}
    return found


def assert_told_once_a_minute(line: HostileLine) -> None:
    """What is wrong was told at once, with an example of each kind, and not again within a minute."""
    complaints = told(line.journal(), "input-rejected")
    for source in ("json", "nodes"):
        own = [e for e in complaints if e.by == source]
        assert own, f"nothing is told of {source}"
        assert all(b.time_ns - a.time_ns >= MINUTE_NS for a, b in pairwise(own))
        for entry in own:
            assert len(entry.data["text"]) < 4_000
            assert "such as" in entry.data["text"]
    for kind in ("source-failed", "source-lost", "clock-wrong"):
        assert told(line.journal(), kind) == []
    assert not any("failed" in e.data["data"]["counts"] for e in complaints)


async def besiege(folder: Path, *, count: int, rate_hz: float, seed: int = 5) -> None:
    """Attack a line, let everything calm down, and judge."""
    async with hostile_line(folder) as (line, server, publisher):
        attack(line, seed, count, rate_hz)
        await server.quiet()
        publisher.stop()
        published: dict[str, dict[int, float]] = {}
        for name, time_ns, value in publisher.published():
            published.setdefault(f"json.{name}.pv", {})[time_ns] = value
        last = f"json.{SINGLE[-1]}.pv"
        line.until(lambda: line.samples_of(last) >= len(published[last]), 60, "the last good sample")
        line.until(lambda: line.metric("waiting", "json") == 0, 20, "every message is acknowledged")
        rejected = {
            source: line.metric("rejected_values_total", source) for source in ("plc", "json", "nodes")
        }
        reconnects = [line.metric("reconnects_total", source) for source in ("plc", "json", "nodes")]
        line.stop("run")
        line.stop("node")
        stored = line.stored()
        print(
            f"{count} spoilt messages; rejected: {rejected}; {sum(map(len, stored.values()))} samples stored"
        )
        assert left_at_broker(line.broker_port) == (True, [])
        assert reconnects == [0.0, 0.0, 0.0]
        assert rejected["plc"] == 0.0
        assert rejected["json"] > count / 4
        assert rejected["nodes"] > count / 20
        assert list(not_once(published, stored)) == []
        assert list(not_once(line.batches, stored)) == []
        served: dict[str, dict[int, float]] = {}
        for name, time_ns, value in server.served():
            served.setdefault(f"plc.{name}.pv", {})[time_ns] = value
        assert list(not_explicit(served, stored, [])) == []
        assert list(not_once(of_node(line, stored), stored)) == []
        assert_told_once_a_minute(line)
        assert "Traceback" not in line.log("run")


@pytest.mark.timeout(180)
async def test_five_hundred_spoilt_messages_disturb_nothing(tmp_path: Path) -> None:
    await besiege(tmp_path, count=500, rate_hz=100.0)


@pytest.mark.long
@pytest.mark.timeout(900)
async def test_ten_thousand_spoilt_messages_disturb_nothing(tmp_path: Path) -> None:
    await besiege(tmp_path, count=10_000, rate_hz=50.0)
