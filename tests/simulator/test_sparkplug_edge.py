"""The edge node against the rules of the Sparkplug specification 3.0, on a real broker and without one.

Rules by clause: 4.1 topics; 5.4 session establishment; 5.5 births before data; 5.7 deaths of devices; 6.4.2–6.4.5 seq, bdSeq, aliases;
6.4.5 is_historical. Payloads are read by tests/support/sparkplug_wire.py, which shares nothing with the node.
"""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from historian.errors import OutsideWorldAway
from historian.frame import NS
from simulator.serving.broker import Broker, broker_at
from simulator.serving.outbox import Message
from simulator.serving.serving import Serving
from simulator.serving.trouble import Misbehaving, Trouble
from simulator.sparkplug.node import EdgeNode
from simulator.sparkplug_edge import EdgeSession, serve_sparkplug
from tests.simulator.test_mqtt import ledger_of
from tests.support import sparkplug_wire as wire
from tests.support.few_tags import T0_NS, TAGS, sample
from tests.support.hearer import Hearer
from tests.support.mosquitto import Mosquitto
from tests.support.ports import free_port
from tests.support.proxy import Proxy
from tests.support.small_line import SmallLine

START_S = 600
TOPIC = re.compile(r"spBv1\.0/plant/(NBIRTH|NDEATH|NDATA|NCMD|DBIRTH|DDEATH|DDATA|DCMD)/line-1(?:/([a-z]+))?")
DEVICES = {"extruder", "filter"}
HOST = "spBv1.0/STATE/scada"
Heard = list[tuple[str, bytes, int, bool]]


class Host:
    """What a host makes of the messages; it complains as soon as a rule is broken."""

    def __init__(self) -> None:
        self.names: dict[int, tuple[str, int]] = {}
        self.born: set[str | None] = set()
        self.bd_seqs: list[int] = []
        self.deaths: list[int] = []
        self.births = 0
        self.device_births = 0
        self.device_deaths: list[str] = []
        self.samples: list[tuple[str, int, object, bool]] = []
        self.at_birth: list[tuple[str, int, object, bool]] = []
        self._seq: int | None = None

    def hear(self, messages: Heard) -> None:
        for topic, body, qos, retain in messages:
            match = TOPIC.fullmatch(topic)
            assert match, topic
            kind, device = match.groups()
            payload = wire.payload(body)
            assert not retain
            if kind == "NDEATH":
                self._death(payload, qos)
            elif not kind.endswith("CMD"):
                assert qos == 0
                assert payload.timestamp is not None
                self._count(kind, payload)
                if kind.endswith("BIRTH"):
                    self._birth(kind, device, payload)
                elif kind == "DDEATH":
                    assert payload.metrics == []
                    self.born.remove(device)
                    self.device_deaths.append(str(device))
                else:
                    self._data(device, payload)

    def _count(self, kind: str, payload: wire.Payload) -> None:
        if kind == "NBIRTH":
            assert payload.seq == 0
        else:
            assert self._seq is not None
            assert payload.seq == (self._seq + 1) % 256
        self._seq = payload.seq

    def _birth(self, kind: str, device: str | None, payload: wire.Payload) -> None:
        if kind == "NBIRTH":
            assert device is None
            own = {m.name: m for m in payload.metrics if m.alias is None}
            assert own["bdSeq"].datatype == wire.INT64
            self.bd_seqs.append(int(str(own["bdSeq"].value)))
            rebirth = own["Node Control/Rebirth"]
            assert (rebirth.datatype, rebirth.value) == (wire.BOOLEAN, False)
            self.names, self.born = {}, set()
            self.births += 1
        else:
            assert None in self.born
            control = {m.name: m for m in payload.metrics if m.alias is None}
            assert set(control) == {"Device Control/Rebirth"}
            self.device_births += 1
        self.born.add(device)
        for metric in payload.metrics:
            assert metric.name and metric.datatype and metric.timestamp
            if metric.alias is not None:
                assert self.names.get(metric.alias, (metric.name, metric.datatype)) == (
                    metric.name,
                    metric.datatype,
                )
                self.names[metric.alias] = (metric.name, metric.datatype)
                self.at_birth.append((metric.name, metric.timestamp, metric.value, False))

    def _data(self, device: str | None, payload: wire.Payload) -> None:
        assert device in self.born
        now = [m.timestamp for m in payload.metrics if not m.historical]
        assert now == sorted(now, key=lambda t: t or 0)
        for metric in payload.metrics:
            assert metric.name is None and metric.datatype is None
            assert metric.alias is not None and metric.timestamp is not None
            name, _ = self.names[metric.alias]
            self.samples.append((name, metric.timestamp, metric.value, bool(metric.historical)))

    def _death(self, payload: wire.Payload, qos: int) -> None:
        assert payload.seq is None
        (metric,) = payload.metrics
        assert metric.name == "bdSeq"
        assert qos == 1
        self.deaths.append(int(str(metric.value)))
        assert self.deaths[-1] == self.bd_seqs[-1]
        self.born = set()


@asynccontextmanager
async def running(port: int, version: Any = "3.1.1", **options: Any) -> AsyncIterator[Misbehaving]:
    feed = SmallLine(start_s=START_S, held=options.pop("held", ""))
    stop = asyncio.Event()
    ready: asyncio.Future[Serving] = asyncio.get_running_loop().create_future()
    broker = broker_at(f"mqtt://127.0.0.1:{port}", version=version)
    async with asyncio.TaskGroup() as group:
        group.create_task(
            serve_sparkplug(
                feed,
                broker,
                group="plant",
                edge_node="line-1",
                speed=100.0,
                stop=stop,
                ready=ready.set_result,
                **options,
            )
        )
        yield (await ready).line
        stop.set()


def expected_of(ledger: Path) -> set[tuple[str, int, float]]:
    return {
        (path.replace(".", "/"), t // 1_000_000, v) for path, t, v, _ in ledger_of(ledger) if v is not None
    }


def numbers(samples: list[tuple[str, int, object, bool]]) -> set[tuple[str, int, float]]:
    return {(n, t, float(v)) for n, t, v, _ in samples if isinstance(v, float | int)}


@pytest.mark.broker
@pytest.mark.parametrize("version", ["3.1.1", "5"])
async def test_births_data_rebirth_and_death_follow_the_rules(
    mosquitto: Mosquitto, tmp_path: Path, version: str
) -> None:
    hearer, ledger = Hearer(mosquitto.port, "spBv1.0/#"), tmp_path / "ledger.csv"
    async with running(mosquitto.port, version, ledger=ledger):
        await asyncio.sleep(1.0)
        await asyncio.to_thread(hearer.publish, "spBv1.0/plant/NCMD/line-1", wire.rebirth_command())
        await asyncio.sleep(0.3)
        command = wire.rebirth_command("Device Control/Rebirth")
        await asyncio.to_thread(hearer.publish, "spBv1.0/plant/DCMD/line-1/filter", command)
        await asyncio.to_thread(hearer.publish, "spBv1.0/plant/DCMD/line-1/nothing", command)
        await asyncio.sleep(0.3)
    await asyncio.to_thread(hearer.wait, lambda m: any("NDEATH" in topic for topic, *_ in m))
    hearer.close()
    host = Host()
    host.hear(hearer.messages)
    assert (host.births, host.bd_seqs, host.deaths) == (2, [0, 0], [0])
    assert host.device_births == 2 * len(DEVICES) + 1
    assert {match[2] for topic, *_ in hearer.messages if (match := TOPIC.fullmatch(topic))} == {
        None,
        "nothing",
        *DEVICES,
    }
    assert not any(historical for *_, historical in host.samples)
    assert expected_of(ledger) == numbers(host.samples) | numbers(host.at_birth)
    assert len(host.samples) > 256, "the numbers have gone round"
    texts = {value for name, _, value, _ in host.at_birth if name == "filter/wiper/state/text"}
    assert texts <= {"parked", "wiping"} and texts


@pytest.mark.broker
async def test_what_an_outage_swallowed_follows_as_history(mosquitto: Mosquitto, tmp_path: Path) -> None:
    hearer, ledger = Hearer(mosquitto.port, "spBv1.0/#"), tmp_path / "ledger.csv"
    async with Proxy.to(mosquitto.port) as proxy, running(proxy.port, ledger=ledger):
        await asyncio.sleep(0.5)
        # First what is sent goes nowhere and nobody knows, then the line is cut.
        proxy.freeze()
        await asyncio.sleep(0.5)
        proxy.refuse = True
        proxy.cut()
        await asyncio.sleep(1.0)
        proxy.refuse = False
        proxy.thaw()
        await asyncio.to_thread(hearer.wait, lambda m: sum("NBIRTH" in topic for topic, *_ in m) == 2)
        await asyncio.sleep(0.5)
    await asyncio.to_thread(hearer.wait, lambda m: sum("NDEATH" in topic for topic, *_ in m) == 2)
    hearer.close()
    host = Host()
    host.hear(hearer.messages)
    expected = expected_of(ledger)
    assert host.bd_seqs[0] == 0 and host.bd_seqs == host.deaths and len(host.bd_seqs) == 2
    assert numbers(host.samples) | numbers(host.at_birth) == expected
    live = numbers([s for s in host.samples if not s[3]])
    missed = {t for _, t, _ in expected - live - numbers(host.at_birth)}
    assert len(missed) > 20
    history = [t for _, t, _, historical in host.samples if historical]
    assert missed <= set(history)
    last_live_before = max(t for _, t, _, h in host.samples[: [s[3] for s in host.samples].index(True)])
    assert max(history) > last_live_before


@pytest.mark.broker
async def test_what_a_machine_tells_late_is_history(mosquitto: Mosquitto, tmp_path: Path) -> None:
    hearer, ledger = Hearer(mosquitto.port, "spBv1.0/#"), tmp_path / "ledger.csv"
    async with running(mosquitto.port, ledger=ledger, held="filter"):
        await asyncio.sleep(1.0)
    await asyncio.to_thread(hearer.wait, lambda m: any("NDEATH" in topic for topic, *_ in m))
    hearer.close()
    host = Host()
    host.hear(hearer.messages)
    assert numbers(host.samples) | numbers(host.at_birth) == expected_of(ledger)
    late = [(n, t) for n, t, _, historical in host.samples if historical]
    assert len(late) > 20
    assert {n.split("/")[0] for n, _ in late} == {"filter"}
    # Seconds 10 to 20 of each 40 are held back; what is of the last two is not overtaken by seconds.
    assert {t // 1000 % 40 for _, t in late} == set(range(10, 19))
    live = {t // 1000 % 40 for n, t, _, h in host.samples if not h and n == "filter/inlet/pressure/pv"}
    assert live == set(range(40)) - set(range(10, 19))
    # Nothing is heard of it meanwhile: the device is dead, the node lives.
    assert set(host.device_deaths) == {"filter"} and len(host.device_deaths) >= 2
    assert host.births == len(host.deaths) == 1
    assert host.device_births in (len(DEVICES) + len(host.device_deaths) - n for n in (0, 1))


@pytest.mark.broker
async def test_what_an_outage_swallowed_of_a_dead_device_waits_for_its_birth(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    hearer, ledger = Hearer(mosquitto.port, "spBv1.0/#"), tmp_path / "ledger.csv"
    async with Proxy.to(mosquitto.port) as proxy, running(proxy.port, ledger=ledger, held="filter"):
        # A hundred seconds a second: each outage begins and ends somewhere in the forty of which ten are held.
        await asyncio.to_thread(hearer.wait, lambda m: any("NBIRTH" in topic for topic, *_ in m))
        for _ in range(6):
            proxy.refuse = True
            proxy.cut()
            await asyncio.sleep(0.13)
            proxy.refuse = False
            births = sum("NBIRTH" in topic for topic, *_ in hearer.messages)
            await asyncio.to_thread(
                hearer.wait, lambda m, n=births: sum("NBIRTH" in topic for topic, *_ in m) > n
            )
            await asyncio.sleep(0.45)
    await asyncio.sleep(0.5)
    hearer.close()
    host = Host()
    host.hear(hearer.messages)
    expected = expected_of(ledger)
    got = numbers(host.samples) | numbers(host.at_birth)
    assert got <= expected
    # At the end the filter may be dead: what it owed then is not told.
    missing = {(n.split("/")[0], t) for n, t, _ in expected - got}
    assert {device for device, _ in missing} <= {"filter"}
    assert len({t for _, t in missing}) <= 40


@pytest.mark.broker
@pytest.mark.parametrize("version", ["3.1.1", "5"])
async def test_each_connection_has_the_next_number_over_restarts_too(
    mosquitto: Mosquitto, tmp_path: Path, version: str
) -> None:
    hearer, kept = Hearer(mosquitto.port, "spBv1.0/#"), tmp_path / "bd-seq"
    async with running(mosquitto.port, version, bd_seq_file=kept) as line:
        await asyncio.sleep(0.2)
        await line.make(Trouble(0.0, "restart"))
        await asyncio.to_thread(hearer.wait, lambda m: sum("NBIRTH" in topic for topic, *_ in m) == 2)
    assert kept.read_text() == "1\n"
    async with running(mosquitto.port, version, bd_seq_file=kept):
        await asyncio.sleep(0.2)
    await asyncio.to_thread(hearer.wait, lambda m: sum("NDEATH" in topic for topic, *_ in m) == 3)
    hearer.close()
    host = Host()
    host.hear(hearer.messages)
    assert host.bd_seqs == host.deaths == [0, 1, 2]


def _state(online: bool, time_ms: int) -> bytes:
    return json.dumps({"online": online, "timestamp": time_ms}).encode()


@pytest.mark.broker
@pytest.mark.parametrize("version", ["3.1.1", "5"])
async def test_nothing_is_published_while_the_primary_host_is_away(
    mosquitto: Mosquitto, tmp_path: Path, version: str
) -> None:
    hearer, ledger = Hearer(mosquitto.port, "spBv1.0/plant/#"), tmp_path / "ledger.csv"
    async with running(mosquitto.port, version, ledger=ledger, primary_host="scada"):
        await asyncio.sleep(0.4)
        assert hearer.messages == []
        await asyncio.to_thread(hearer.publish, HOST, _state(True, 5), retain=True)
        await asyncio.to_thread(hearer.wait, lambda m: any("DDATA" in topic for topic, *_ in m))
        # An older message says nothing of now.
        await asyncio.to_thread(hearer.publish, HOST, _state(False, 4))
        await asyncio.sleep(0.2)
        assert not any("NDEATH" in topic for topic, *_ in hearer.messages)
        await asyncio.to_thread(hearer.publish, HOST, _state(False, 6), retain=True)
        await asyncio.to_thread(hearer.wait, lambda m: any("NDEATH" in topic for topic, *_ in m))
        await asyncio.sleep(0.6)
        said = len(hearer.messages)
        await asyncio.sleep(0.4)
        assert len(hearer.messages) == said
        await asyncio.to_thread(hearer.publish, HOST, _state(True, 7), retain=True)
        await asyncio.to_thread(hearer.wait, lambda m: sum("NBIRTH" in topic for topic, *_ in m) == 2)
        await asyncio.sleep(0.2)
    await asyncio.to_thread(hearer.wait, lambda m: sum("NDEATH" in topic for topic, *_ in m) == 2)
    hearer.close()
    host = Host()
    host.hear(hearer.messages)
    assert host.bd_seqs == host.deaths == [0, 1]
    assert numbers(host.samples) | numbers(host.at_birth) == expected_of(ledger)
    assert any(historical for *_, historical in host.samples)


async def test_a_try_that_reaches_nobody_is_no_connection() -> None:
    node = EdgeNode("plant", "line-1", TAGS)
    session = EdgeSession(Broker("127.0.0.1", free_port()), node)
    for _ in range(3):
        with pytest.raises(OutsideWorldAway, match="does not answer"):
            await session.link(Broker("127.0.0.1", free_port())).open()
    assert wire.payload(node.births(T0_NS)[0].payload).metrics[0].value == 0


async def test_what_a_dead_device_missed_is_told_after_its_birth_even_over_two_outages() -> None:
    away: set[str] = set()
    node = EdgeNode("plant", "line-1", TAGS)
    session = EdgeSession(Broker("127.0.0.1", 1), node, away=lambda: frozenset(away))
    node.death(T0_NS)
    link = _Link()

    def up() -> list[tuple[str, wire.Payload]]:
        link.sent.clear()
        session.up(link)  # type: ignore[arg-type]
        return link.sent

    up()
    session.down()
    lost = [sample(0, float(k), time_ns=T0_NS + k * NS) for k in range(3)]
    session.take(lost)
    away.add("filter")
    session.take([sample(3, 55.0)])
    for _ in range(2):
        assert [topic.split("/")[2] for topic, _ in up()] == ["NBIRTH"]
        session.down()
    up()
    link.sent.clear()
    away.clear()
    back = sample(0, 9.0, time_ns=T0_NS + 9 * NS)
    session.take([back])
    (birth, owed, now) = link.sent
    assert [topic.split("/")[2] for topic, _ in link.sent] == ["DBIRTH", "DDATA", "DDATA"]
    assert [m.value for m in birth[1].metrics if m.alias == 1] == [9.0]
    assert [(m.value, m.historical) for m in owed[1].metrics] == [(0.0, True), (1.0, True), (2.0, True)]
    assert [m.value for m in now[1].metrics] == [9.0]


class _Link:
    """A connection that takes everything."""

    def __init__(self) -> None:
        self.sent: list[tuple[str, wire.Payload]] = []

    def subscribe(self, topic: str, qos: int) -> None:
        """Nobody commands."""

    def publish(self, message: Message) -> int:
        self.sent.append((message.topic, wire.payload(message.payload)))
        return len(self.sent)
