"""An edge node on somebody else's Sparkplug stack, collected by the whole program through a real broker."""

from __future__ import annotations

import asyncio
import signal
import time
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from historian.frame import Series
from historian.quality import BAD, NO_COMMUNICATION, is_bad
from tests.journeys.campaign import Record, not_once
from tests.support.collected_line import CollectedLine
from tests.support.mosquitto import Mosquitto
from tests.support.node_peer import NodePeer

pytestmark = [pytest.mark.peers, pytest.mark.broker, pytest.mark.timeout(240)]

MS = 1_000_000
NODE = {f"n1//{name}": f"node.{name}.pv" for name in ("int8", "int16", "int32", "int64")}
DEVICE = {
    f"n1/dev/{name}": f"device.{name}.pv" for name in ("uint8", "uint16", "uint32", "uint64", "float", "on")
}
PRESSURE = "die.pressure.pv"
COUNTED = {**NODE, **DEVICE, "n1/dev/melt/pressure": PRESSURE}
DOUBTED = "node.maybe.pv"
SOURCE = """
[[source]]
name = "nodes"
kind = "sparkplug"
broker = "mqtt://127.0.0.1:{port}"
group = "g"
host_id = "recorder"
texts = ["n1//recipe"]
[source.tags]
"""


class Edge(NodePeer):
    """The Node.js edge node."""

    def births(self) -> int:
        return len(self.written("births.jsonl"))

    def record(self) -> Record:
        """What it published: our tag → time in nanoseconds → value, a pressure in bar."""
        found: dict[str, dict[int, float]] = {}
        for address, ms, value in self.written("published.jsonl"):
            path = COUNTED[address]
            found.setdefault(path, {})[ms * MS] = value / 100.0 if path == PRESSURE else value
        return found


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path_factory.mktemp("broker")) as broker:
        yield broker


@asynccontextmanager
async def collected(line: CollectedLine, edge: Edge) -> AsyncIterator[None]:
    await asyncio.to_thread(edge.start)
    await asyncio.to_thread(line.start)
    try:
        yield
    finally:
        line.clear_up()
        edge.kill()


def missing(edge: Edge, line: CollectedLine) -> list[str]:
    stored = {p: _rounded(s) for p, s in line.stored().items()}
    record = {p: {t: round(v, 9) for t, v in samples.items()} for p, samples in edge.record().items()}
    return list(not_once(record, stored))


def _rounded(series: Series) -> Series:
    return Series(series.time_ns, series.value.round(9), series.quality)


def last_qualities(line: CollectedLine, paths: list[str]) -> set[int]:
    stored = line.stored()
    return {int(stored[path].quality[-1]) for path in paths}


async def test_from_birth_to_death_what_it_published_is_stored_once(
    broker: Mosquitto, tmp_path: Path
) -> None:
    edge = Edge("sparkplug_edge.js", tmp_path / "edge", (str(broker.port),))
    text = SOURCE.format(port=broker.port)
    for metric, path in {**COUNTED, "n1//maybe": DOUBTED}.items():
        unit = "kPa" if path == PRESSURE else "1"
        text += f'"{path}" = {{ metric = "{metric}", unit = "{unit}" }}\n'
    line = CollectedLine(tmp_path / "line", text)

    async def say(word: str) -> None:
        await asyncio.to_thread(edge.ask, word)

    async def all_there(what: str) -> None:
        await line.until(lambda: missing(edge, line) == [], what)

    async with collected(line, edge):
        await line.until(lambda: edge.births() == 2, "a birth that was asked for")
        await say("tell")
        await say("squeeze")
        await all_there("plain and compressed data")
        await line.until(lambda: bool(line.told("text")), "the text in the journal")
        (text_told,) = line.told("text")
        assert text_told.data["data"] == {"metric": "n1//recipe", "text": "Ö-12"}

        told = len(line.stored()[DOUBTED])
        await say("doubt")
        await line.until(lambda: len(line.stored()[DOUBTED]) == told + 2, "a null and a value of bad quality")
        assert set(line.stored()[DOUBTED].quality.tolist()) == {BAD}

        await say("skip")
        await line.until(lambda: edge.births() == 3, "a birth because a number was left out")
        await line.until(lambda: len(line.told("rebirth-asked")) == 2, "the reason in the journal")
        assert "1 of its messages are missing" in line.told("rebirth-asked")[-1].data["text"]
        await say("tell")
        await all_there("what came before and after the gap")

        await say("device-off")
        await line.until(
            lambda: last_qualities(line, list(DEVICE.values())) == {NO_COMMUNICATION}, "the device's death"
        )
        assert NO_COMMUNICATION not in last_qualities(line, list(NODE.values()))
        await say("device-on")
        await say("tell")
        await all_there("the device born again")

        await asyncio.to_thread(line.end, signal.SIGKILL)
        await say("store")
        await asyncio.to_thread(line.start)
        await line.until(lambda: edge.births() == 4, "a birth after our own restart")
        await say("tell")
        await say("flush")
        await all_there("what was delivered late")

        edge.kill()
        killed_ns = time.time_ns()
        await line.until(
            lambda: last_qualities(line, list(COUNTED.values())) == {NO_COMMUNICATION}, "the node's death"
        )
        await asyncio.to_thread(line.end)
    assert missing(edge, line) == []
    for path, series in line.stored().items():
        marked = series.time_ns[is_bad(series.quality)]
        assert abs(int(marked[-1]) - killed_ns) < 5_000 * MS, path
    assert [e.data["data"]["device"] for e in line.told("node-gone")] == ["dev", ""]
