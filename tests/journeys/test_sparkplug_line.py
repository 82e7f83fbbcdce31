"""The simulated line as an edge node, recorded by the collector as its primary host, over a real broker."""

from __future__ import annotations

import asyncio
import bisect
import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from collector import Inbox, Roster, SourceMapping, TagMapping, WallClock, Writer, collect, tags_of
from collector.backoff import Backoff
from collector.mqtt.broker import Broker
from collector.mqtt.sparkplug_source import SparkplugSource
from historian import EmbeddedStore, Event
from historian.quality import GOOD, NO_COMMUNICATION, NO_DATA
from simulator.serving.broker import broker_at
from simulator.sparkplug.primary_host import PrimaryHost
from simulator.sparkplug_edge import serve_sparkplug
from tests.collector.conftest import Judged, quiet
from tests.simulator.test_mqtt import ledger_of
from tests.support.hearer import Hearer
from tests.support.mosquitto import Mosquitto
from tests.support.proxy import Proxy
from tests.support.small_line import TAGS, SmallLine

pytestmark = pytest.mark.broker

__all__ = ["quiet"]  # a fixture

DEVICES = ("extruder", "filter")
MAPPING = SourceMapping(
    "line",
    "mqtt://x",
    True,
    tuple(
        TagMapping(t.path, f"line-1/{d if d in DEVICES else ''}/{t.path.replace('.', '/')}", t.unit)
        for t in TAGS
        for d in [t.path.split(".")[0]]
    ),
    clock="own",
)


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path / "broker") as broker:
        yield broker


async def test_all_that_the_line_told_is_stored_once_through_cuts_of_either_side(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    events: list[Event] = []
    store = EmbeddedStore.open(tmp_path / "store")
    known = store.register(tags_of([MAPPING]))
    inbox, clock, stop = Inbox([MAPPING], known), WallClock(), asyncio.Event()
    writer = Writer(store, inbox, Judged(), clock, events.append, flush_s=0.05)
    roster, ledger = Roster(inbox, clock), tmp_path / "ledger.csv"
    hearer = Hearer(mosquitto.port, "spBv1.0/plant/#")

    def births() -> int:
        return sum("NBIRTH" in topic for topic, *_ in hearer.messages)

    async def born(n: int) -> None:
        await asyncio.to_thread(hearer.wait, lambda _: births() >= n)
        await asyncio.sleep(0.5)

    async with Proxy.to(mosquitto.port) as node_side, Proxy.to(mosquitto.port) as our_side:
        broker = Broker("127.0.0.1", our_side.port, "recorder", session_s=0)
        source = SparkplugSource(
            MAPPING, known, broker, group="plant", host_id="recorder", clock=clock, backoff=Backoff(0.1, 0.3)
        )
        serving = asyncio.create_task(
            serve_sparkplug(
                SmallLine(start_s=600),
                broker_at(f"mqtt://127.0.0.1:{node_side.port}"),
                group="plant",
                edge_node="line-1",
                speed=50.0,
                stop=stop,
                ledger=ledger,
                primary_host=PrimaryHost("recorder").topic.rpartition("/")[2],
            )
        )
        await asyncio.sleep(0.3)
        assert births() == 0, "it did not wait for its primary host"
        roster.start(source)
        collecting = asyncio.create_task(collect(roster, writer))
        await born(1)
        # The node's connection breaks: its death is told, then it is born again and tells what was missed.
        node_side.cut()
        await born(2)
        # Ours breaks: the broker tells that we are gone, the node dies, and all begins anew.
        our_side.cut()
        await born(3)
        stop.set()
        await serving
        await asyncio.to_thread(hearer.wait, lambda m: sum("NDEATH" in topic for topic, *_ in m) >= 3)
        await asyncio.sleep(0.5)
        counts = source.counts
        collecting.cancel()
        await asyncio.wait([collecting])
    hearer.close()

    told: dict[str, dict[int, float]] = {t.path: {} for t in TAGS}
    for path, time_ns, value, quality in ledger_of(ledger):
        assert value is not None and quality == GOOD
        told[path][time_ns] = value
    marks: set[int] = set()
    for path, expected in told.items():
        series = store.read([path], 0, 2**62)[path]
        kept = dict(zip(series.time_ns.tolist(), series.value.tolist(), strict=True))
        assert len(kept) == len(series), "a time stands twice"
        assert {t: kept.get(t) for t in expected} == expected
        # What is kept beside it says what held at a birth, or that nothing was known.
        times = sorted(expected)
        for time_ns in kept.keys() - expected.keys():
            before = bisect.bisect_right(times, time_ns) - 1
            assert math.isnan(kept[time_ns]) or kept[time_ns] == expected[times[before]]
        marks |= set(series.quality.tolist()) - {GOOD}
    store.close()
    assert {NO_COMMUNICATION, NO_DATA} <= marks
    assert (counts.rejected, counts.missed, counts.reconnects) == (0, 0, 1)
    assert counts.backfilled > 0
    # The texts of enumerations and what the node says of itself are nobody's tags.
    born_events = [e for e in events if e.kind == "node-born"]
    assert any("filter/wiper/state/text" in e.data["unmapped"] for e in born_events)
    assert source.status.unknown == ()
