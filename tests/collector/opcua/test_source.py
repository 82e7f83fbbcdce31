"""An OPC UA source against a real server in its own process, which is fed, killed and started again."""

from __future__ import annotations

import asyncio
import math
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest

from collector import SourceMapping, SourceState, TagMapping
from collector.opcua.nodes import SIMULATED_NAMESPACE
from historian import NS
from historian.quality import HELD, NODE_ID_UNKNOWN, SENSOR_FAILURE, UNCERTAIN
from tests.collector.conftest import Collecting, collecting
from tests.support.opcua_server import OVERFLOW, URI, OpcUaServer, ServedTag
from tests.support.ports import free_port
from tests.support.proxy import Proxy

LIVE = 50
UNIT_CEL = 4408652


def mapping(endpoint: str, *tags: TagMapping, simulated: bool = False) -> SourceMapping:
    return SourceMapping("machine", endpoint, simulated, tags)


def node(name: str, path: str | None = None, unit: str = "1", deadband: float = 0.0) -> TagMapping:
    return TagMapping(path or f"own.{name.lower()}.pv", f"nsu={URI};s={name}", unit, deadband)


LIVES = [node(f"L{i}") for i in range(LIVE)]


def served_tags() -> dict[str, ServedTag]:
    return {
        **{f"L{i}": ServedTag(live=True) for i in range(LIVE)},
        "Still": ServedTag(200.0, "°C", UNIT_CEL, age_s=3600.0),
        "P1": ServedTag(12.0, "MPa", unece("MPA")),
        "P2": ServedTag(12.0, "MPa", unece("MPA")),
        "Odd": ServedTag(1.0),
        "Text": ServedTag("ready"),
        "Ranged": ServedTag(50.0, range=(0.0, 400.0), remembered=True),
        "Unstamped": ServedTag(1.0, stamped=False),
    }


def unece(code: str) -> int:
    return int.from_bytes(code.encode(), "big")


@pytest.fixture(scope="module")
def shared_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpcUaServer]:
    """One server for the tests that do not kill it; starting one takes seconds."""
    server = OpcUaServer(tmp_path_factory.mktemp("server"), served_tags())
    asyncio.run(server.start())
    yield server
    server.kill()


@pytest.fixture
async def server(tmp_path: Path) -> AsyncIterator[OpcUaServer]:
    """A server of a test's own."""
    tags = {"L0": ServedTag(live=True), "Still": ServedTag(200.0, age_s=3600.0)}
    server = OpcUaServer(tmp_path, tags)
    await server.start()
    yield server
    server.kill()


def connected(line: Collecting) -> bool:
    return line.source.status.state is SourceState.CONNECTED


async def test_nothing_is_lost_and_nothing_comes_twice(shared_server: OpcUaServer, tmp_path: Path) -> None:
    async with collecting(tmp_path / "store", mapping(shared_server.endpoint, *LIVES)) as line:
        await line.until(lambda: connected(line))
        await asyncio.sleep(3.0)
        paths = [t.path for t in LIVES]
        got = {p: line.good(p) for p in paths}
        first = {p: rows[0][0] for p, rows in got.items()}
        last = {p: rows[-1][0] for p, rows in got.items()}
        served = shared_server.served()
    for tag, path in zip(LIVES, paths, strict=True):
        name = tag.address.rpartition("=")[2]
        truth = [(t, v) for n, t, v in served if n == name and first[path] <= t <= last[path]]
        assert got[path] == truth
        assert len(truth) >= 12
    assert line.judge.advanced == sorted(line.judge.advanced)
    assert [seq for seq, _ in line.judge.fed] == list(range(1, len(line.judge.fed) + 1))


async def test_the_server_is_read_only_what_it_says(shared_server: OpcUaServer, tmp_path: Path) -> None:
    """Unknown node, wrong unit, converted unit, NaN, bad status, text: each is said, the rest goes on."""
    tags = (
        *LIVES[:2],
        node("Nowhere"),
        TagMapping("own.otherspace.pv", "nsu=urn:not:there;s=L0", "1"),
        node("P1", "filter.inlet.pressure.pv", "bar"),
        node("P2", "filter.outlet.pressure.pv", "MPa"),
        node("Still", "filter.plate.1.temp.sp", "Cel"),
        node("Odd"),
        node("Text"),
    )
    async with collecting(tmp_path / "store", mapping(shared_server.endpoint, *tags)) as line:
        await line.until(lambda: connected(line))
        await shared_server.set("Odd", math.nan)
        await shared_server.set("Odd", None, status=SENSOR_FAILURE)
        await shared_server.set("Odd", 2.0)
        await line.until(lambda: len(line.series("own.odd.pv")) >= 4)
        odd = line.series("own.odd.pv")
        assert [hex(q) for q in odd.quality] == ["0x0", "0x808c0000", "0x808c0000", "0x0"]
        assert [v for v in odd.value if not math.isnan(v)] == [1.0, 2.0]
        assert [hex(q) for q in line.series("own.text.pv").quality] == ["0x80740000"]
        assert line.good("filter.outlet.pressure.pv")[0][1] == 120.0
        assert line.good("filter.plate.1.temp.sp")[0][1] == 200.0
        assert len(line.series("filter.inlet.pressure.pv")) == 0
        assert [int(q) for q in line.series("own.nowhere.pv").quality] == [NODE_ID_UNKNOWN]
        await line.until(lambda: line.kinds().count("not-a-number") == 2)
        assert len(line.good("own.l0.pv")) > 3
    unknown = line.event("unknown-node")
    assert set(unknown.data["tags"]) == {"own.nowhere.pv", "own.otherspace.pv"}
    assert "urn:not:there" in unknown.text and "s=Nowhere" in unknown.text
    refused = line.event("unit-refused")
    assert refused.data["tag"] == "filter.inlet.pressure.pv"
    assert "MPa" in refused.text and "bar" in refused.text
    assert line.kinds().count("not-a-number") == 2
    assert line.kinds().count("unit-refused") == 1
    assert set(line.source.status.unknown) == {
        "own.nowhere.pv",
        "own.otherspace.pv",
        "filter.inlet.pressure.pv",
    }
    assert line.source.status.samples > 8


async def test_a_value_that_never_changes_is_confirmed(shared_server: OpcUaServer, tmp_path: Path) -> None:
    """Its own time stamp is an hour old; the source stands by it now."""
    tags = (LIVES[0], node("Still", "filter.plate.1.temp.sp", "Cel"))
    async with collecting(tmp_path / "store", mapping(shared_server.endpoint, *tags)) as line:
        await line.until(lambda: len(line.good("filter.plate.1.temp.sp")) == 2)
        (old, v0), (new, v1) = line.good("filter.plate.1.temp.sp")
    assert v0 == v1 == 200.0
    assert new - old > 3590 * NS


async def test_a_sample_from_the_future_is_kept_at_its_arrival(
    shared_server: OpcUaServer, tmp_path: Path
) -> None:
    async with collecting(tmp_path / "store", mapping(shared_server.endpoint, LIVES[0], node("Odd"))) as line:
        await line.until(lambda: connected(line) and len(line.series("own.odd.pv")) == 1)
        await shared_server.set("Odd", 5.0, offset_s=3600.0)
        await line.until(lambda: len(line.series("own.odd.pv")) == 2)
        odd = line.series("own.odd.pv")
        arrival_ns = next(
            f.arrival_ns for _, f in line.judge.fed if 5.0 in f.value and UNCERTAIN in f.quality
        )
        await shared_server.set("Odd", 1.0)
    assert int(odd.quality[-1]) == UNCERTAIN
    assert 0 <= int(odd.time_ns[-1]) - arrival_ns < 1_000_000, "moved by whole milliseconds"
    told = line.event("sample-from-future")
    assert told.data["tag"] == "own.odd.pv"
    assert told.data["offset_s"] == pytest.approx(3600, abs=2)
    assert "machine" in told.text and "clock" in told.text


async def test_a_clock_set_back_begins_a_new_epoch(shared_server: OpcUaServer, tmp_path: Path) -> None:
    async with collecting(tmp_path / "store", mapping(shared_server.endpoint, *LIVES[:5])) as line:
        await line.until(lambda: connected(line) and len(line.good("own.l0.pv")) > 3)
        await shared_server.clock(-30.0)
        await line.until(lambda: "clock-stepped" in line.kinds())
        await asyncio.sleep(1.0)
        await shared_server.clock(0.0)
        epochs = [f.clock_epoch for _, f in line.judge.fed if len(f) > 1]
    assert epochs == sorted(epochs) and epochs[-1] == 1
    assert line.kinds().count("clock-stepped") == 1
    assert line.event("clock-stepped").data["step_s"] == pytest.approx(-30, abs=1)


async def test_killed_and_started_again(server: OpcUaServer, tmp_path: Path) -> None:
    """The gap is marked, it goes on by itself, namespaces in another order do no harm, nothing comes twice."""
    tags = (node("L0"), node("Still"))
    async with collecting(tmp_path / "store", mapping(server.endpoint, *tags)) as line:
        await line.until(lambda: connected(line) and len(line.good("own.l0.pv")) > 5)
        server.kill()
        await line.until(lambda: "source-lost" in line.kinds())
        before = line.good("own.l0.pv")[-1][0]
        server.namespaces = ["urn:test:other", "urn:test:third", URI]
        await server.start()
        await line.until(lambda: line.kinds().count("source-connected") == 2)
        await line.until(lambda: line.good("own.l0.pv")[-1][0] > before + NS)
        await line.until(lambda: line.good("own.still.pv")[-1][0] > before)
        live, marks = line.good("own.l0.pv"), line.gaps("own.l0.pv")
        still, still_marks = line.good("own.still.pv"), line.gaps("own.still.pv")
        served = {(t, v) for n, t, v in server.served() if n == "L0"}
    assert len(marks) == len(still_marks) == 1
    assert before <= marks[0] <= before + NS
    assert set(live) <= served
    assert len({t for t, _ in live}) == len(live)
    # The set-point's own time stamp lies before the gap; it counts from when the server confirmed it.
    assert still[-1][0] > still_marks[0]
    assert all(t < still_marks[0] for t, _ in still[:-1])


async def test_an_endpoint_that_is_down_at_the_start_is_waited_for(tmp_path: Path) -> None:
    server = OpcUaServer(tmp_path, {"L0": ServedTag(live=True)}, port=free_port())
    try:
        async with collecting(tmp_path / "store", mapping(server.endpoint, node("L0"))) as line:
            await line.until(lambda: "source-waiting" in line.kinds())
            assert line.source.status.state is SourceState.WAITING
            await server.start()
            await line.until(lambda: len(line.good("own.l0.pv")) > 2)
        assert line.kinds().count("source-waiting") == 1
        waiting = line.event("source-waiting")
        assert server.endpoint in waiting.text and "Next try" in waiting.text
        # A second run finds older samples: what lies between is a gap.
        async with collecting(tmp_path / "store", mapping(server.endpoint, node("L0"))) as again:
            newest = line_newest(again)
            await again.until(lambda: again.good("own.l0.pv")[-1][0] > newest)
            assert again.gaps("own.l0.pv") == [newest + 1_000_000]
    finally:
        server.kill()


def line_newest(line: Collecting) -> int:
    return line.good("own.l0.pv")[-1][0]


async def test_a_simulated_line_is_not_taken_for_a_machine(tmp_path: Path) -> None:
    tags = {"L0": ServedTag(live=True)}
    server = OpcUaServer(tmp_path, tags, namespaces=[URI, SIMULATED_NAMESPACE])
    await server.start()
    try:
        async with collecting(tmp_path / "real", mapping(server.endpoint, node("L0"))) as line:
            await line.until(lambda: "source-refused" in line.kinds())
            assert line.source.status.state is SourceState.REFUSED
            await asyncio.sleep(0.5)
            assert len(line.series("own.l0.pv")) == 0
        assert "simulated = true" in line.event("source-refused").text
        marked = mapping(server.endpoint, node("L0"), simulated=True)
        async with collecting(tmp_path / "simulated", marked) as line:
            await line.until(lambda: len(line.good("own.l0.pv")) > 2)
    finally:
        server.kill()


async def test_a_cut_a_frozen_and_a_garbled_connection_come_back(
    shared_server: OpcUaServer, tmp_path: Path
) -> None:
    async with Proxy.to(shared_server.port) as proxy:
        endpoint = f"opc.tcp://127.0.0.1:{proxy.port}/"
        async with collecting(tmp_path / "store", mapping(endpoint, LIVES[0])) as line:
            await line.until(lambda: connected(line) and len(line.good("own.l0.pv")) > 2)
            proxy.cut()
            await line.until(lambda: line.kinds().count("source-connected") == 2)
            n = len(line.good("own.l0.pv"))
            await line.until(lambda: len(line.good("own.l0.pv")) > n + 2)
            proxy.freeze()
            await line.until(lambda: line.kinds().count("source-lost") == 2)
            proxy.thaw()
            await line.until(lambda: line.kinds().count("source-connected") == 3)
            n = len(line.good("own.l0.pv"))
            await line.until(lambda: len(line.good("own.l0.pv")) > n)
            proxy.garble = True
            await line.until(lambda: line.kinds().count("source-lost") == 3)
            proxy.garble = False
            await line.until(lambda: line.kinds().count("source-connected") == 4)
            n = len(line.good("own.l0.pv"))
            await line.until(lambda: len(line.good("own.l0.pv")) > n)
            assert len(line.gaps("own.l0.pv")) == 3
            served = {(t, v) for name, t, v in shared_server.served() if name == "L0"}
            good = line.good("own.l0.pv")
            assert set(good) <= served
            assert len({t for t, _ in good}) == len(good)


async def test_small_changes_are_left_out_where_asked(shared_server: OpcUaServer, tmp_path: Path) -> None:
    tags = (LIVES[0], node("Odd", deadband=0.5))
    async with collecting(tmp_path / "store", mapping(shared_server.endpoint, *tags)) as line:
        await line.until(lambda: connected(line) and len(line.good("own.odd.pv")) == 1)
        for value in (10.0, 10.2, 10.4, 10.6, 10.3):
            await shared_server.set("Odd", value)
        await line.until(lambda: len(line.good("own.odd.pv")) == 3)
        await asyncio.sleep(0.5)
        assert [v for _, v in line.good("own.odd.pv")][1:] == [10.0, 10.6]
        await shared_server.set("Odd", 1.0)


async def test_a_dead_band_may_be_a_share_of_the_servers_range(
    shared_server: OpcUaServer, tmp_path: Path
) -> None:
    ranged = TagMapping("own.ranged.pv", f"nsu={URI};s=Ranged", "1", deadband_percent=2.0)
    nowhere = TagMapping("own.odd.pv", f"nsu={URI};s=Odd", "1", deadband_percent=2.0)
    # After a minute any sample is kept.
    await shared_server.set("Ranged", 50.0)
    async with collecting(tmp_path / "store", mapping(shared_server.endpoint, ranged, nowhere)) as line:
        await line.until(lambda: connected(line) and len(line.good("own.ranged.pv")) == 1)
        for value in (55.0, 58.5, 66.0, 67.0, 50.0):
            await shared_server.set("Ranged", value)
        await line.until(lambda: len(line.good("own.ranged.pv")) == 4)
        assert [v for _, v in line.good("own.ranged.pv")] == [50.0, 58.5, 67.0, 50.0]
    assert line.event("no-range").data["tag"] == "own.odd.pv"


async def test_values_without_a_source_time_are_kept_under_the_servers_and_told_once(
    shared_server: OpcUaServer, tmp_path: Path
) -> None:
    async with collecting(tmp_path / "store", mapping(shared_server.endpoint, node("Unstamped"))) as line:
        await line.until(lambda: connected(line))
        for value in (2.0, 3.0):
            await shared_server.set("Unstamped", value)
        await line.until(lambda: len(line.good("own.unstamped.pv")) >= 3)
        await line.until(lambda: "no-source-time" in line.kinds())
        assert (
            line.good("own.unstamped.pv")[-2:]
            == [(t, v) for n, t, v in shared_server.served() if n == "Unstamped"][-2:]
        )
        assert line.source.counts.unstamped == 3
    assert line.kinds().count("no-source-time") == 1


async def test_an_overflow_is_counted_and_its_hole_filled(shared_server: OpcUaServer, tmp_path: Path) -> None:
    async with collecting(tmp_path / "store", mapping(shared_server.endpoint, node("Ranged"))) as line:
        await line.until(lambda: connected(line) and len(line.good("own.ranged.pv")) == 1)
        await shared_server.set("Ranged", 60.0, status=OVERFLOW)
        await line.until(lambda: "gap-filled" in line.kinds())
        s = line.series("own.ranged.pv")
        assert [hex(q) for q in s.quality] == ["0x0", hex(HELD), hex(OVERFLOW)]
        assert line.source.counts.overflows == 1


async def test_a_message_that_gets_lost_is_had_again(shared_server: OpcUaServer, tmp_path: Path) -> None:
    async with collecting(tmp_path / "store", mapping(shared_server.endpoint, LIVES[0])) as line:
        await line.until(lambda: connected(line) and len(line.good("own.l0.pv")) > 2)
        begin = line.good("own.l0.pv")[0][0]
        await shared_server.swallow(forget=False)
        await line.until(lambda: len(line.good("own.l0.pv")) > 12)
        good = line.good("own.l0.pv")
        served = [(t, v) for n, t, v in shared_server.served() if n == "L0" and begin <= t <= good[-1][0]]
        assert good == served
        assert line.source.counts.missed == 0 and not line.gaps("own.l0.pv")
        # One that the server does not have any more leaves a gap that can be seen, and nothing else.
        await shared_server.swallow(forget=True)
        await line.until(lambda: "source-lost" in line.kinds())
        await line.until(lambda: line.kinds().count("source-connected") == 2)
        n = len(line.good("own.l0.pv"))
        await line.until(lambda: len(line.good("own.l0.pv")) > n + 2)
        (mark,) = line.gaps("own.l0.pv")
        good = line.good("own.l0.pv")
        served = [(t, v) for n, t, v in shared_server.served() if n == "L0" and begin <= t <= good[-1][0]]
        before = max(t for t, _ in good if t < mark)
        missing = sorted(set(served) - set(good))
        assert missing and missing == [row for row in served if mark < row[0] and row in missing]
        assert before + 1_000_000 == mark
        assert line.source.counts.missed == 1
    assert "got lost on the way" in line.event("source-lost").text
