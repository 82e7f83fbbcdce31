"""The edge node against the rules of the Sparkplug specification 3.0, on a real broker and without one.

Rules by clause: 4.1 topics; 5.4 session establishment; 5.5 births before data; 6.4.2–6.4.5 seq, bdSeq, aliases;
6.4.5 is_historical. Payloads are read by tests/support/sparkplug_wire.py, which shares nothing with the node.
"""

from __future__ import annotations

import asyncio
import json
import math
import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from historian.errors import OutsideWorldAway, StoredDataDamaged, StoreReadOnly, WrongInput
from historian.frame import NS
from historian.quality import GOOD, LAST_USABLE, NO_DATA, SENSOR_FAILURE
from historian.tags import Tag, TagKind
from simulator.bd_seq import read_bd_seq, write_bd_seq
from simulator.published import Sample
from simulator.serving.broker import Broker, broker_at
from simulator.serving.serving import Serving
from simulator.serving.trouble import Misbehaving, Trouble
from simulator.sparkplug.node import EdgeNode
from simulator.sparkplug.primary_host import PrimaryHost
from simulator.sparkplug.unsure import Unsure
from simulator.sparkplug_edge import EdgeSession, serve_sparkplug
from tests.simulator.test_mqtt import ledger_of
from tests.support import sparkplug_wire as wire
from tests.support.hearer import Hearer
from tests.support.mosquitto import Mosquitto
from tests.support.ports import free_port
from tests.support.proxy import Proxy
from tests.support.small_line import SmallLine

T0_NS = 1_900_000_000 * NS
START_S = 600
TOPIC = re.compile(r"spBv1\.0/plant/(NBIRTH|NDEATH|NDATA|NCMD|DBIRTH|DDATA|DCMD)/line-1(?:/([a-z]+))?")
DEVICES = {"extruder", "filter"}
HOST = "spBv1.0/STATE/scada"
Heard = list[tuple[str, bytes, int, bool]]

TAGS = (
    Tag("filter.inlet.pressure.pv", "bar"),
    Tag("filter.wiper.state", "1", TagKind.CODE, codes={0: "parked", 1: "wiping"}),
    Tag("filter.wiper.park.state", "1", TagKind.BOOLEAN),
    Tag("line.power.pv", "kW"),
)


class Host:
    """What a host makes of the messages; it complains as soon as a rule is broken."""

    def __init__(self) -> None:
        self.names: dict[int, tuple[str, int]] = {}
        self.born: set[str | None] = set()
        self.bd_seqs: list[int] = []
        self.deaths: list[int] = []
        self.births = 0
        self.device_births = 0
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


def test_a_number_that_is_none_and_a_folder_that_is_none_are_told(tmp_path: Path) -> None:
    (tmp_path / "bad").write_text("256\n")
    with pytest.raises(StoredDataDamaged, match="bad: '256' is no number from 0 to 255; delete the file"):
        read_bd_seq(tmp_path / "bad")
    with pytest.raises(StoreReadOnly, match="name another file"):
        write_bd_seq(tmp_path / "none" / "file", 1)
    assert read_bd_seq(tmp_path / "new") == -1
    write_bd_seq(tmp_path / "new", 255)
    assert read_bd_seq(tmp_path / "new") == 255
    assert (
        EdgeNode("g", "n", TAGS, last_bd_seq=255).death(T0_NS).payload
        == EdgeNode("g", "n", TAGS).death(T0_NS).payload
    )


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


def test_only_a_newer_and_understood_message_tells_of_a_host() -> None:
    host = PrimaryHost("scada")
    assert (host.topic, host.online) == (HOST, False)
    assert not host.hear(_state(False, 10))
    assert host.hear(_state(True, 10))
    assert not host.hear(_state(True, 11))
    assert not host.hear(_state(False, 10))
    for strange in (
        b"ONLINE",
        b"\xff",
        b"[]",
        b"{}",
        b'{"online": "false", "timestamp": 20}',
        b'{"online": false}',
    ):
        assert not host.hear(strange)
    assert host.online
    assert host.hear(_state(False, 11))
    with pytest.raises(WrongInput, match="the primary host is a word"):
        PrimaryHost("a/b")


async def test_a_try_that_reaches_nobody_is_no_connection() -> None:
    node = EdgeNode("plant", "line-1", TAGS)
    session = EdgeSession(Broker("127.0.0.1", free_port()), node)
    for _ in range(3):
        with pytest.raises(OutsideWorldAway, match="does not answer"):
            await session.link(Broker("127.0.0.1", free_port())).open()
    assert wire.payload(node.births(T0_NS)[0].payload).metrics[0].value == 0


def told(node: EdgeNode, samples: list[Sample], **options: Any) -> list[tuple[str, wire.Payload]]:
    return [(m.topic, wire.payload(m.payload)) for m in node.data(samples, T0_NS, **options)]


def sample(column: int, value: float, quality: int = GOOD, time_ns: int = T0_NS) -> Sample:
    return Sample(TAGS[column].path, column, time_ns, value, quality, True)


def test_a_birth_defines_every_metric_even_without_a_value() -> None:
    node = EdgeNode("plant", "line-1", TAGS)
    node.death(T0_NS)
    node.remember([sample(0, 71.3), sample(1, 1.0)])
    births = [(m.topic, wire.payload(m.payload)) for m in node.births(T0_NS)]
    assert [topic for topic, _ in births] == [
        "spBv1.0/plant/NBIRTH/line-1",
        "spBv1.0/plant/DBIRTH/line-1/filter",
    ]
    own, filters = ({m.name: m for m in payload.metrics} for _, payload in births)
    assert own["Properties/Simulated"].value is True
    assert own["line/power/pv"].null and own["line/power/pv"].value is None
    assert own["line/power/pv"].properties["engUnit"] == (wire.STRING, "kW")
    pressure = filters["filter/inlet/pressure/pv"]
    assert (pressure.datatype, pressure.value, pressure.kind) == (wire.DOUBLE, 71.3, "double")
    assert pressure.properties == {"engUnit": (wire.STRING, "bar")}
    assert (filters["filter/wiper/state"].datatype, filters["filter/wiper/state"].value) == (wire.INT32, 1)
    text = filters["filter/wiper/state/text"]
    assert (text.datatype, text.value, text.kind) == (wire.STRING, "wiping", "string")
    assert filters["filter/wiper/park/state"].datatype == wire.BOOLEAN
    assert filters["filter/wiper/park/state"].null


def test_data_carry_quality_and_null_and_negative_numbers() -> None:
    node = EdgeNode("plant", "line-1", TAGS)
    ((_, payload),) = told(
        node,
        [
            sample(0, 71.3),
            sample(0, math.nan, NO_DATA),
            sample(0, 70.0, LAST_USABLE),
            sample(0, 1.0, SENSOR_FAILURE),
            sample(0, 2.0, 0x0000_0401),
        ],
    )
    quality = [m.properties.get("Quality") for m in payload.metrics]
    assert quality == [None, (wire.INT32, 0), (wire.INT32, 500), (wire.INT32, 0), (wire.INT32, 192)]
    assert [m.properties.get("StatusCode", (0, GOOD))[1] for m in payload.metrics] == [
        GOOD,
        NO_DATA,
        LAST_USABLE,
        SENSOR_FAILURE,
        0x401,
    ]
    assert [m.null for m in payload.metrics] == [None, True, None, None, None]
    ((_, payload),) = told(node, [sample(1, -2.0)], historical=True)
    assert [(m.value, m.historical) for m in payload.metrics] == [(-2, True), ("-2", True)]


def test_numbers_go_round_and_deaths_count_connections() -> None:
    node = EdgeNode("plant", "line-1", TAGS)
    deaths = [wire.payload(node.death(T0_NS).payload).metrics[0].value for _ in range(258)]
    assert deaths == [*range(256), 0, 1]
    births = [wire.payload(m.payload).seq for m in node.births(T0_NS)]
    seqs = [payload.seq for k in range(300) for _, payload in told(node, [sample(3, float(k))])]
    assert births + seqs == [k % 256 for k in range(302)]


def test_many_samples_are_cut_into_messages_in_order() -> None:
    node = EdgeNode("plant", "line-1", TAGS)
    samples = [sample(k % 4, float(k % 2), time_ns=T0_NS + k * NS) for k in range(1300)]
    messages = told(node, samples, historical=True)
    for place in ("NDATA/line-1", "DDATA/line-1/filter"):
        times = [m.timestamp for topic, p in messages if topic.endswith(place) for m in p.metrics]
        assert times == sorted(times, key=lambda t: t or 0)
    # The words of the wiper's state come beside its number.
    assert sum(len(p.metrics) for _, p in messages) == 1300 + 325


def test_only_a_rebirth_command_to_this_node_or_its_device_asks_for_a_birth() -> None:
    node = EdgeNode("plant", "line-1", TAGS)
    node.death(T0_NS)
    command, device_command = wire.rebirth_command(), wire.rebirth_command("Device Control/Rebirth")

    def born(topic: str, body: bytes) -> list[str]:
        return [
            m.topic.removeprefix("spBv1.0/plant/") for m in node.answer(f"spBv1.0/plant/{topic}", body, T0_NS)
        ]

    assert born("NCMD/line-1", command) == ["NBIRTH/line-1", "DBIRTH/line-1/filter"]
    assert born("DCMD/line-1/filter", device_command) == ["DBIRTH/line-1/filter"]
    assert born("NCMD/line-2", command) == []
    assert born("NCMD/line-1", command[:-1] + b"\0") == []
    assert born("NCMD/line-1", device_command) == []
    assert born("DCMD/line-1/filter", command) == []
    assert born("DCMD/line-1/doser", device_command) == []
    assert born("NCMD/line-1", b"\xff\xff") == []


@pytest.mark.parametrize(("group", "name"), [("", "a"), ("a", ""), ("a/b", "c"), ("a", "b+"), ("#", "a")])
def test_an_id_that_cannot_stand_in_a_topic_is_refused(group: str, name: str) -> None:
    with pytest.raises(WrongInput, match=r"without \+, / and #"):
        EdgeNode(group, name, TAGS)


def test_what_may_be_lost_is_kept_for_the_window_and_no_longer_than_the_limit() -> None:
    unsure = Unsure(limit=5, window_s=20.0)
    for second in range(4):
        unsure.keep([sample(0, float(second))], 10.0 * second)
    unsure.forget(35.0)
    assert [s.value for s in unsure.take()] == [2.0, 3.0]
    assert (len(unsure), unsure.lost) == (0, 0)
    for second in range(8):
        unsure.keep([sample(0, float(second))], float(second))
    assert (len(unsure), unsure.lost) == (5, 3)
    assert [s.value for s in unsure.take()] == [3.0, 4.0, 5.0, 6.0, 7.0]
