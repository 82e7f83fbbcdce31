"""Gaps are filled from a real server's history: after a cut, a restart, and a rest of the recorder's own."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from collector import SourceMapping, SourceState, TagMapping
from collector.opcua.items import Asking
from historian import NS
from historian.quality import HELD
from tests.collector.conftest import Collecting, collecting
from tests.support.opcua_server import URI, OpcUaServer, ServedTag
from tests.support.proxy import Proxy

PATHS = {name: f"own.{name.lower()}.pv" for name in ("A", "B", "Still", "Plain")}
TAGS = tuple(TagMapping(path, f"nsu={URI};s={name}", "1") for name, path in PATHS.items())


@pytest.fixture
async def server(tmp_path: Path) -> AsyncIterator[OpcUaServer]:
    """Two live tags and one still one with a history that is told in small pieces, and one tag without."""
    server = OpcUaServer(
        tmp_path,
        {
            "A": ServedTag(live=True, remembered=True),
            "B": ServedTag(live=True, remembered=True),
            "Still": ServedTag(7.0, remembered=True, age_s=60.0),
            "Plain": ServedTag(live=True),
        },
        rate_hz=10.0,
        memory={"page": 7},
    )
    await server.start()
    yield server
    server.kill()


def mapping(endpoint: str) -> SourceMapping:
    return SourceMapping("machine", endpoint, False, TAGS)


def record(server: OpcUaServer, name: str) -> list[tuple[int, float]]:
    return [(t, v) for n, t, v in server.served() if n == name]


def since(rows: list[tuple[int, float]], start_ns: int, end_ns: int = 2**62) -> list[tuple[int, float]]:
    return [row for row in rows if start_ns <= row[0] <= end_ns]


def connected(line: Collecting) -> bool:
    return line.source.status.state is SourceState.CONNECTED


def held(line: Collecting, path: str) -> list[tuple[int, float]]:
    s = line.series(path)
    return [(int(t), float(v)) for t, v, q in zip(s.time_ns, s.value, s.quality, strict=True) if q == HELD]


async def settled(line: Collecting, server: OpcUaServer, name: str) -> None:
    """Wait until the newest sample that was served is stored."""
    await server.quiet()
    newest = record(server, name)[-1]
    await line.until(lambda: line.good(PATHS[name])[-1] == newest)


async def test_a_cut_leaves_no_gap_where_the_server_remembers(server: OpcUaServer, tmp_path: Path) -> None:
    async with Proxy.to(server.port) as proxy:
        endpoint = f"opc.tcp://127.0.0.1:{proxy.port}/"
        async with collecting(tmp_path / "store", mapping(endpoint)) as line:
            await line.until(lambda: connected(line) and len(line.good(PATHS["A"])) > 5)
            begin = line.good(PATHS["A"])[0][0]
            proxy.refuse = True
            proxy.cut()
            await line.until(lambda: "source-lost" in line.kinds())
            cut = line.good(PATHS["A"])[-1][0]
            await asyncio.sleep(1.5)
            # While it is filled in the connection breaks again: it goes on with the next one.
            proxy.refuse = False
            await line.until(lambda: line.kinds().count("source-connected") == 2)
            proxy.cut()
            await line.until(lambda: line.kinds().count("source-connected") == 3)
            await line.until(lambda: not line.gaps(PATHS["A"]) and not line.gaps(PATHS["B"]))
            await line.until(lambda: not line.gaps(PATHS["Still"]))
            await settled(line, server, "A")
            for name in ("A", "B"):
                truth = since(record(server, name), begin)
                assert since(line.good(PATHS[name]), begin) == truth
            # What the server does not remember stays a gap that can be seen.
            assert len(line.gaps(PATHS["Plain"])) >= 1
            plain = line.good(PATHS["Plain"])
            assert not [t for t, _ in plain if cut + 0.5 * NS < t < cut + 1.2 * NS]
            # Where the mark was, the value held; the still one held all along.
            assert held(line, PATHS["Still"]) and {v for _, v in held(line, PATHS["Still"])} == {7.0}
            assert line.source.counts.backfilled > 20
            assert line.source.counts.reconnects == 2
            assert line.source.counts.waiting == 0
    told = line.event("gap-filled")
    assert told.data["without_history"] == 1 and "history" in told.text


async def test_a_server_that_was_down_leaves_the_gap_in_which_it_was(
    server: OpcUaServer, tmp_path: Path
) -> None:
    """It comes back with other namespace numbers; what it remembers from before is asked for by the new ones."""
    async with Proxy.to(server.port) as proxy:
        endpoint = f"opc.tcp://127.0.0.1:{proxy.port}/"
        async with collecting(tmp_path / "store", mapping(endpoint)) as line:
            await line.until(lambda: connected(line) and len(line.good(PATHS["A"])) > 5)
            begin = line.good(PATHS["A"])[0][0]
            proxy.refuse = True
            proxy.cut()
            await line.until(lambda: "source-lost" in line.kinds())
            await asyncio.sleep(1.0)
            server.kill()
            last = record(server, "A")[-1][0]
            server.namespaces = ["urn:test:other", URI]
            await server.start()
            first = since(record(server, "A"), last + 1)[0][0]
            await asyncio.sleep(0.5)
            proxy.refuse = False
            await line.until(lambda: "gap-filled" in line.kinds())
            await settled(line, server, "A")
            assert since(line.good(PATHS["A"]), begin) == since(record(server, "A"), begin)
            mark, *others = line.gaps(PATHS["A"])
            assert last < mark < first and mark - last <= 2_000_000
            # The server sets its first values before the time at which it says that it started.
            assert all(first < other < first + NS for other in others)
            assert [t for t, _ in held(line, PATHS["A"])] and max(held(line, PATHS["A"]))[0] < last


async def test_what_the_recorder_slept_through_is_filled_in(server: OpcUaServer, tmp_path: Path) -> None:
    store = tmp_path / "store"
    async with collecting(store, mapping(server.endpoint)) as line:
        await line.until(lambda: connected(line) and len(line.good(PATHS["A"])) > 5)
        begin = line.good(PATHS["A"])[0][0]
    # It cuts its answers off without a word, and leaves the end out.
    await server.remember(points=False, page=120, end=False)
    await asyncio.sleep(1.5)
    async with collecting(store, mapping(server.endpoint)) as line:
        await line.until(lambda: "gap-filled" in line.kinds())
        await settled(line, server, "A")
        assert since(line.good(PATHS["A"]), begin) == since(record(server, "A"), begin)
        assert not line.gaps(PATHS["A"]) and len(line.gaps(PATHS["Plain"])) == 1


async def test_history_is_left_alone_where_that_is_asked(server: OpcUaServer, tmp_path: Path) -> None:
    store = tmp_path / "store"
    for _ in range(2):
        async with collecting(store, mapping(server.endpoint), Asking(history=False)) as line:
            await line.until(lambda: connected(line) and len(line.good(PATHS["A"])) > 2)
            await asyncio.sleep(1.2)
            assert len(line.gaps(PATHS["A"])) <= 1
    assert (await server.remember())["asked"] == 0
