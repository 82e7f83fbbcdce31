"""From a real broker to a real store: births, deaths, commands, our own state, outages, hostile messages."""

from __future__ import annotations

import asyncio
import json
import random
import time
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest

from collector import (
    Inbox,
    Roster,
    SourceMapping,
    TagMapping,
    WallClock,
    Writer,
    collect,
    newest_samples,
    tags_of,
)
from collector.backoff import Backoff
from collector.mqtt.broker import Broker
from collector.mqtt.sparkplug_source import SparkplugSource, wrong_unit
from collector.source import SourceState
from historian import EmbeddedStore, Event, Series
from historian.catalogue import canonical_tag
from historian.quality import HELD, NO_COMMUNICATION, NO_DATA, is_good
from tests.collector.conftest import Judged
from tests.support.hearer import Hearer
from tests.support.mosquitto import Mosquitto
from tests.support.proxy import Proxy
from tests.support.sparkplug_peer import DOUBLE, M, nbirth, ndeath, payload

pytestmark = pytest.mark.broker

MAPPING = SourceMapping(
    "line", "mqtt://x", False, (TagMapping("own.a.pv", "n1/dev/a", "1"), TagMapping("own.b.pv", "n1//b", "1"))
)
STATE = "spBv1.0/STATE/recorder"


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path / "broker") as broker:
        yield broker


@dataclass
class Collecting:
    """A running collector of one Sparkplug source, and an edge node to talk to it."""

    store: EmbeddedStore
    source: SparkplugSource
    hearer: Hearer
    events: list[Event] = field(default_factory=list)
    seq: int = 0
    bd_seq: int = 0
    ms: int = 0

    def now_ms(self) -> int:
        """The time, but never the same twice."""
        self.ms = max(time.time_ns() // 1_000_000, self.ms + 1)
        return self.ms

    def series(self, path: str = "own.a.pv") -> Series:
        return self.store.read([path], 0, 2**62)[path]

    def good(self, path: str = "own.a.pv") -> list[float]:
        series = self.series(path)
        return series.value[is_good(series.quality) & (series.quality != HELD)].tolist()

    def qualities(self, path: str = "own.a.pv") -> list[int]:
        return self.series(path).quality.tolist()

    def kinds(self) -> list[str]:
        return [e.kind for e in self.events]

    def heard(self, part: str) -> list[bytes]:
        return [body for topic, body, *_ in self.hearer.messages if part in topic]

    async def until(self, true: Callable[[], bool], timeout_s: float = 20.0) -> None:
        async with asyncio.timeout(timeout_s):
            while not true():  # noqa: ASYNC110  (a store cannot wake a test)
                await asyncio.sleep(0.03)

    async def say(self, verb: str, body: bytes, device: str = "") -> None:
        topic = f"spBv1.0/g/{verb}/n1" + (f"/{device}" if device else "")
        await asyncio.to_thread(self.hearer.publish, topic, body)

    async def be_born(self, value: float = 1.0) -> None:
        ms = self.now_ms()
        self.seq = 2
        b = M("b", 2, ms, 10, (DOUBLE, value))
        await self.say("NBIRTH", nbirth(b, ms=ms, bd_seq=self.bd_seq))
        a = M("a", 1, ms, 10, (DOUBLE, value))
        await self.say("DBIRTH", payload(a, ms=ms, seq=1), "dev")

    async def tell(self, *values: float, historical_ms: int | None = None) -> None:
        for k, value in enumerate(values):
            ms = self.now_ms() if historical_ms is None else historical_ms + k
            m = M(alias=1, ms=ms, value=(DOUBLE, value), historical=historical_ms is not None)
            await self.say("DDATA", payload(m, ms=ms, seq=self.seq), "dev")
            self.seq = (self.seq + 1) % 256


@asynccontextmanager
async def collecting(
    folder: Path,
    mosquitto: Mosquitto,
    mapping: SourceMapping = MAPPING,
    *,
    port: int | None = None,
    **more: object,
) -> AsyncIterator[Collecting]:
    store = EmbeddedStore.open(folder)
    known = store.register(tags_of([mapping]))
    clock = WallClock()
    inbox = Inbox([mapping], known, newest_samples(store, [mapping]))
    source = SparkplugSource(
        mapping,
        known,
        Broker("127.0.0.1", port or mosquitto.port, "recorder", session_s=0),
        group="g",
        host_id="recorder",
        clock=clock,
        backoff=Backoff(0.2, 0.5),
        **more,  # type: ignore[arg-type]
    )
    hearer = Hearer(mosquitto.port, "spBv1.0/#")
    got = Collecting(store, source, hearer)
    writer = Writer(store, inbox, Judged(), clock, got.events.append, flush_s=0.05)
    roster = Roster(inbox, clock)
    roster.start(source)
    task = asyncio.create_task(collect(roster, writer))
    try:
        await got.until(lambda: source.status.state is SourceState.CONNECTED)
        yield got
    finally:
        task.cancel()
        await asyncio.wait([task])
        await asyncio.to_thread(hearer.close)
        store.close()


async def test_from_birth_to_death(tmp_path: Path, mosquitto: Mosquitto) -> None:
    async with collecting(tmp_path / "store", mosquitto) as got:
        await got.until(lambda: len(got.heard("STATE")) > 0)
        await got.be_born()
        await got.tell(2.0, 3.0)
        await got.until(lambda: got.good() == [1.0, 2.0, 3.0])
        assert got.good("own.b.pv") == [1.0]
        assert got.source.status.unknown == ()
        await got.say("NDEATH", ndeath(0))
        await got.until(lambda: got.qualities()[-1] == NO_COMMUNICATION)
        assert got.qualities("own.b.pv")[-1] == NO_COMMUNICATION
        got.bd_seq = 1
        await got.be_born(4.0)
        await got.until(lambda: got.good() == [1.0, 2.0, 3.0, 4.0])
        await got.until(lambda: got.kinds().count("node-gone") == 1)
        counts = got.source.counts
        assert (counts.received, counts.missed, counts.rejected, counts.reconnects) == (6, 0, 0, 0)


async def test_the_state_is_told_as_the_standard_wants_it(tmp_path: Path, mosquitto: Mosquitto) -> None:
    async with collecting(tmp_path / "store", mosquitto) as got:
        await got.until(lambda: len(got.heard("STATE")) == 1)
        first = json.loads(got.heard("STATE")[0])
        assert set(first) == {"online", "timestamp"} and first["online"] is True
        assert abs(first["timestamp"] - time.time_ns() // 1_000_000) < 60_000
        # tck-id-message-flow-hid-sparkplug-state-message-delivered: at once, with the time of the will.
        gone = json.dumps({"online": False, "timestamp": first["timestamp"] - 5}).encode()
        await asyncio.to_thread(got.hearer.publish, STATE, gone, retain=True)
        await got.until(lambda: len(got.heard("STATE")) == 3)
        assert json.loads(got.heard("STATE")[2]) == first
        assert got.source.counts.reconnects == 0
    said = [json.loads(body) for body in got.heard("STATE")]
    # tck-id-host-topic-phid-death-payload-timestamp-disconnect-clean
    assert said[-1]["online"] is False and said[-1]["timestamp"] >= first["timestamp"]
    assert [s["online"] for s in said] == [True, False, True, False]
    assert {qos for topic, _, qos, _ in got.hearer.messages if topic == STATE} == {1}
    late = Hearer(mosquitto.port, STATE)
    try:
        await got.until(lambda: len(late.messages) == 1)
        assert late.messages[0][3], "the last state is not retained"
    finally:
        await asyncio.to_thread(late.close)


async def test_a_newer_time_of_somebody_else_makes_a_new_connection(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    async with collecting(tmp_path / "store", mosquitto) as got:
        await got.until(lambda: len(got.heard("STATE")) == 1)
        told = time.time_ns() // 1_000_000 + 60_000
        gone = json.dumps({"online": False, "timestamp": told}).encode()
        await asyncio.to_thread(got.hearer.publish, STATE, gone)
        newer = {"online": True, "timestamp": told + 1}
        await got.until(lambda: newer in [json.loads(b) for b in got.heard("STATE")])
        assert "host-contested" in got.kinds()


async def test_a_rebirth_is_asked_for_and_nothing_else_is_published(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    async with collecting(tmp_path / "store", mosquitto, reorder_s=0.2) as got:
        await got.be_born()
        await got.until(lambda: got.good() == [1.0])
        got.seq += 1
        await got.tell(2.0)
        await got.until(lambda: len(got.heard("/NCMD/n1")) > 0)
        command = got.heard("/NCMD/n1")[0]
        assert b"Node Control/Rebirth" in command and command.count(b"\x70\x01") == 1
        await got.be_born(3.0)
        await got.until(lambda: got.good() == [1.0, 2.0, 3.0])
        # The loss is a gap of its own between what was before and what came after it.
        assert NO_DATA in got.qualities()
        assert got.source.counts.missed == 1
    own = {"NBIRTH", "DBIRTH", "DDATA"}
    published = {
        topic.split("/")[1] if "STATE" in topic else topic.split("/")[2] for topic, *_ in got.hearer.messages
    }
    assert published - own == {"STATE", "NCMD"}
    assert {m for m in got.heard("/NCMD/") if b"Rebirth" not in m} == set()


async def test_an_outage_is_a_gap_that_history_fills(tmp_path: Path, mosquitto: Mosquitto) -> None:
    async with collecting(tmp_path / "store", mosquitto) as got:
        await got.be_born()
        await got.tell(2.0)
        await got.until(lambda: got.good() == [1.0, 2.0])
        lost_ms = time.time_ns() // 1_000_000
        mosquitto.stop()
        await got.until(lambda: got.source.status.state is SourceState.LOST)
        await got.until(lambda: NO_DATA in got.qualities())
        await asyncio.sleep(0.3)
        mosquitto.start()
        await got.until(lambda: got.source.status.state is SourceState.CONNECTED)
        await got.until(lambda: len(got.heard("/NCMD/n1")) > 0)
        got.bd_seq = 1
        await got.be_born(9.0)
        await got.until(lambda: got.good()[-1] == 9.0)
        await got.tell(3.0, 4.0, 5.0, historical_ms=lost_ms + 20)
        await got.until(lambda: got.good() == [1.0, 2.0, 3.0, 4.0, 5.0, 9.0])
        qualities = got.qualities()
        # Of the gap only what nobody told is left: behind the last of the history.
        assert [q for q in qualities if q == NO_DATA] == [NO_DATA] and qualities[-2] == NO_DATA
        assert (got.source.counts.backfilled, got.source.counts.reconnects) == (3, 1)


async def test_hostile_messages_disturb_nothing_else(tmp_path: Path, mosquitto: Mosquitto) -> None:
    rng = random.Random(3)
    async with collecting(tmp_path / "store", mosquitto) as got:
        await got.be_born()
        await got.say("NBIRTH", rng.randbytes(6 * 2**20))
        await got.say("NDATA", b"\x12\xff\xff\xff\xff\x0f" + rng.randbytes(50))
        await got.say("NDEATH", rng.randbytes(100))
        await got.tell(2.0)
        await got.until(lambda: got.good() == [1.0, 2.0])
        await got.until(lambda: "input-rejected" in got.kinds())
        assert got.source.counts.rejected >= 2
        assert got.source.counts.reconnects == 0


@pytest.mark.parametrize(
    ("told", "unit", "assumed", "wrong"),
    [
        ("bar", "bar", True, None),
        ("MPa", "bar", False, "the source says MPa, the line's file says bar"),
        ("MPa", "bar", True, "the node says MPa, the tag is bar where the line's file says no unit"),
        ("no such thing", "bar", True, None),
        ("kg", "bar", True, "kg"),
    ],
)
def test_units_that_a_birth_tells(told: str, unit: str, assumed: bool, wrong: str | None) -> None:
    mapping = TagMapping("die.pressure.pv", "n//p", unit, unit_assumed=assumed)
    said = wrong_unit(mapping, {mapping.path: canonical_tag(mapping.path)}, told)
    assert said is None if wrong is None else said is not None and wrong in said


async def test_small_changes_are_left_out_where_the_file_says_so(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    tags = (TagMapping("own.a.pv", "n1/dev/a", "1", deadband=0.5), MAPPING.tags[1])
    async with collecting(tmp_path / "store", mosquitto, replace(MAPPING, tags=tags)) as got:
        await got.be_born()
        await got.tell(2.0, 2.1, 2.4, 2.6, 5.0)
        await got.until(lambda: got.good() == [1.0, 2.0, 2.6, 5.0])
        assert got.source.counts.received == 7


async def test_the_broker_tells_our_death_when_we_cannot(tmp_path: Path, mosquitto: Mosquitto) -> None:
    # tck-id-operational-behavior-host-application-connect-will, -will-topic, -will-payload, -will-qos, -will-retained
    async with (
        Proxy.to(mosquitto.port) as proxy,
        collecting(tmp_path / "store", mosquitto, port=proxy.port) as got,
    ):
        await got.until(lambda: len(got.heard("STATE")) == 1)
        first = json.loads(got.heard("STATE")[0])
        proxy.refuse = True
        proxy.cut()
        await got.until(lambda: len(got.heard("STATE")) == 2)
        assert json.loads(got.heard("STATE")[1]) == {"online": False, "timestamp": first["timestamp"]}
        await got.until(lambda: got.source.status.state is SourceState.LOST)
        proxy.refuse = False
        await got.until(lambda: len(got.heard("STATE")) > 2)
        again = json.loads(got.heard("STATE")[2])
        assert again["online"] and again["timestamp"] > first["timestamp"]
