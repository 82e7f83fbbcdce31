"""The machine's memory: what HistoryRead gives back is what was published, whole and once."""

from __future__ import annotations

import asyncio
import csv
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from asyncua import Client, Node, ua
from hypothesis import given
from hypothesis import strategies as st

from historian.errors import StoredDataDamaged
from historian.frame import NS
from simulator.opcua.archive import Archive, RawRead, Row, Series
from simulator.opcua.history import PAGE_ROWS
from simulator.opcua.places import FlatSpace
from simulator.opcua.served import Features, ServedLine
from simulator.opcua.times import moment_ns
from simulator.published import Sample
from simulator.serving.ledger import Ledger, read_ledger
from tests.support.served_line import Elsewhere, node_of, served, served_elsewhere
from tests.support.small_line import TAGS, SmallLine

T0_NS = 1_900_000_000 * NS
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
PATH = "filter.inlet.pressure.pv"


def _series(*times: int) -> Series:
    series = Series(10**18)
    for at in times:
        series.keep(at, float(at), 0, at)
    return series


def _read(series: Series, start: int | None, end: int | None, most: int = 0, **options: Any) -> list[int]:
    """Times of all pages together."""
    asked = RawRead.of(start, end, most, bounds=options.get("bounds", False))
    assert asked is not None
    times: list[int] = []
    rest: RawRead | None = asked
    while rest is not None:
        rows, rest = series.read(rest, options.get("page", 2))
        assert len(rows) <= options.get("page", 2)
        times += [row.time_ns for row in rows]
    return times


@pytest.mark.parametrize(
    ("start", "end", "most", "expected"),
    [
        (20, 40, 0, [20, 30]),
        (20, 41, 0, [20, 30, 40]),
        (15, 35, 0, [20, 30]),
        (40, 20, 0, [40, 30]),
        (45, 15, 0, [40, 30, 20]),
        (30, 30, 0, [30]),
        (31, 31, 0, []),
        (20, None, 3, [20, 30, 40]),
        (None, 40, 3, [40, 30, 20]),
        (60, 90, 0, []),
    ],
    ids=[
        "the end is not in it", "but what is before it", "between", "backwards", "backwards between",
        "a moment", "an empty moment", "so many from", "so many back from", "nothing there",
    ],
)  # fmt: skip
def test_start_is_in_and_end_is_not(
    start: int | None, end: int | None, most: int, expected: list[int]
) -> None:
    assert _read(_series(10, 20, 30, 40, 50), start, end, most) == expected


@pytest.mark.parametrize(
    ("start", "end", "expected"),
    [
        (20, 40, [20, 30, 40]),
        (15, 35, [10, 20, 30, 40]),
        (35, 15, [40, 30, 20, 10]),
        (5, 99, [5, 10, 20, 30, 40, 50, 99]),
    ],
    ids=["at samples", "between samples", "backwards", "beyond"],
)
def test_bounds_are_given_when_asked_for(start: int, end: int, expected: list[int]) -> None:
    assert _read(_series(10, 20, 30, 40, 50), start, end, bounds=True) == expected


def test_a_bound_that_does_not_exist_is_told() -> None:
    asked = RawRead.of(5, 15, 0, bounds=True)
    assert asked is not None
    rows, _ = _series(10, 20).read(asked, 10)
    assert rows == [Row(5, 0.0, None, 5), Row(10, 10.0, 0, 10), Row(20, 20.0, 0, 20)]


def test_too_little_said_is_no_read() -> None:
    assert RawRead.of(None, None, 5, bounds=False) is None
    assert RawRead.of(5, None, 0, bounds=False) is None


@given(
    times=st.lists(st.integers(0, 50), max_size=40),
    ends=st.tuples(st.integers(-5, 55), st.integers(-5, 55)),
    page=st.integers(1, 7),
    bounds=st.booleans(),
)
def test_pages_together_are_the_whole_without_doubles(
    times: list[int], ends: tuple[int, int], page: int, bounds: bool
) -> None:
    series, (start, end) = _series(*times), ends
    low, high = min(ends), max(ends)
    kept = sorted(set(times))
    inside = [t for t in kept if (start <= t < end if start < end else end < t <= start) or t == start == end]
    read = _read(series, start, end, page=page, bounds=bounds)
    assert read == _read(series, start, end, page=1000, bounds=bounds)
    assert len(set(read)) == len(read)
    if not bounds:
        assert read == (inside if start <= end else inside[::-1])
    else:
        assert set(inside) <= set(read)
        assert all(low <= t <= high for t in inside)


def test_old_samples_are_forgotten_and_a_clock_set_back_keeps_order() -> None:
    archive = Archive(window_s=100)
    archive.keep(Sample(PATH, 0, n * NS, float(n), 0, True) for n in range(5000))
    series = archive.of(PATH)
    assert 100 <= len(series) <= 100 + 1100
    assert _read(series, 4990 * NS, 5000 * NS, page=100) == [n * NS for n in range(4990, 5000)]
    archive.keep(
        [Sample(PATH, 0, 4995 * NS, -1.0, 0, True), Sample(PATH, 0, 4995 * NS + 1000, -2.0, 0, True)]
    )
    asked = RawRead.of(4995 * NS, 4996 * NS, 0, bounds=False)
    assert asked is not None
    assert [(r.time_ns, r.value) for r in series.read(asked, 10)[0]] == [
        (4995 * NS, -1.0),
        (4995 * NS + 1000, -2.0),
    ]


def test_a_ledger_is_gone_on_with_after_a_crash(tmp_path: Path) -> None:
    path = tmp_path / "ledger.csv"
    first = [Sample(PATH, -1, NS, 1.5, 0, True), Sample(PATH, -1, 2 * NS, 0.1 + 0.2, 0x40000000, False)]
    with Ledger(path, append=True) as book:
        book.write(first)
    with path.open("a") as file:
        file.write(f"{PATH},3000000000,1.")
    assert list(read_ledger(path)) == first
    with Ledger(path, append=True) as book:
        book.write([Sample(PATH, -1, 4 * NS, 2.0, 0, True)])
    assert list(read_ledger(path)) == [*first, Sample(PATH, -1, 4 * NS, 2.0, 0, True)]
    with Ledger(path) as book:
        book.write([])
    assert list(read_ledger(path)) == []


def test_a_file_that_is_no_ledger_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("path,time_ns,value,quality,changed\na,b,c,d,e\n")
    with pytest.raises(StoredDataDamaged, match=r"x\.csv:2: not a line of a ledger"):
        list(read_ledger(path))


async def _pages(node: Node, start: datetime, end: datetime, most: int) -> list[list[tuple[int, float]]]:
    details = ua.ReadRawModifiedDetails(
        IsReadModified=False, StartTime=start, EndTime=end, NumValuesPerNode=most, ReturnBounds=False
    )
    pages, point = [], None
    while True:
        result = await node.history_read(details, point)
        result.StatusCode.check()
        rows = result.HistoryData.DataValues
        pages.append([(moment_ns(v.SourceTimestamp), v.Value.Value) for v in rows])
        point = result.ContinuationPoint
        if point is None:
            return pages


def _published(ledger: Path, path: str) -> list[tuple[int, float]]:
    with ledger.open(encoding="utf-8") as file:
        return [(int(r["time_ns"]), float(r["value"])) for r in csv.DictReader(file) if r["path"] == path]


def _at(second: float) -> datetime:
    return EPOCH + timedelta(microseconds=T0_NS // 1000) + timedelta(seconds=second)


@pytest.fixture(scope="module")
def line(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Elsewhere, Path]]:
    """A line with a memory on disk; and its folder."""
    folder = tmp_path_factory.mktemp("history")
    options: dict[str, Any] = {"ledger": folder / "first.csv", "history_file": folder / "memory.csv"}
    with served_elsewhere(SmallLine(start_s=9000), speed=50.0, **options) as served_line:
        yield served_line, folder


async def test_a_client_reads_back_all_that_was_published_page_by_page(line: tuple[Elsewhere, Path]) -> None:
    served_line, folder = line
    async with Client(served_line.serving.endpoint) as client:
        node = await node_of(client, PATH)
        assert ua.AccessLevel.HistoryRead in await node.get_access_level()
        assert ua.AccessLevel.HistoryRead in await node.get_user_access_level()
        assert (await node.read_attribute(ua.AttributeIds.Historizing)).Value.Value is True
        await asyncio.sleep(0.6)
        pages = await _pages(node, _at(9000), _at(9015), 4)
        assert [len(page) for page in pages] == [4, 4, 4, 3]
        assert [row for page in pages for row in page] == _published(folder / "first.csv", PATH)[:15]
        assert await node.read_raw_history(_at(9000), _at(9000.5), return_bounds=False)


async def test_what_cannot_be_answered_is_refused(line: tuple[Elsewhere, Path]) -> None:
    async with Client(line[0].serving.endpoint) as client:
        node = await node_of(client, PATH)
        with pytest.raises(ua.uaerrors.BadHistoryOperationInvalid):
            await node.read_raw_history(_at(9000), None)
        with pytest.raises(ua.uaerrors.BadHistoryOperationUnsupported):
            clock = client.get_node(ua.ObjectIds.Server_ServerStatus_CurrentTime)
            await clock.read_raw_history(_at(0), _at(9))
        with pytest.raises(ua.uaerrors.BadNodeIdUnknown):
            await client.get_node(ua.NodeId("nothing", 2)).read_raw_history(_at(0), _at(9))
        details = ua.ReadRawModifiedDetails(IsReadModified=False, StartTime=_at(0), EndTime=_at(9))
        result = await node.history_read(details, b"made up")
        assert result.StatusCode.value == ua.StatusCodes.BadContinuationPointInvalid


@pytest.mark.parametrize(
    ("asked", "source", "server"),
    [
        (ua.TimestampsToReturn.Both, True, True),
        (ua.TimestampsToReturn.Source, True, False),
        (ua.TimestampsToReturn.Server, False, True),
    ],
)
async def test_the_time_stamps_that_are_asked_for_are_given(
    line: tuple[Elsewhere, Path], asked: ua.TimestampsToReturn, source: bool, server: bool
) -> None:
    async with Client(line[0].serving.endpoint) as client:
        (result,) = await _stamped(client, asked)
        rows = result.HistoryData.DataValues
        assert rows
        assert {row.SourceTimestamp is not None for row in rows} == {source}
        assert {row.ServerTimestamp is not None for row in rows} == {server}
        if server:
            # When it was published, not when it is read or what time the line has.
            age_s = (datetime.now(UTC) - rows[0].ServerTimestamp).total_seconds()
            assert 0.0 < age_s < 120.0
        if source:
            assert rows[0].SourceTimestamp == _at(9000)


async def test_no_time_stamps_are_no_history(line: tuple[Elsewhere, Path]) -> None:
    async with Client(line[0].serving.endpoint) as client:
        (result,) = await _stamped(client, ua.TimestampsToReturn.Neither)
        assert result.StatusCode.value == ua.StatusCodes.BadTimestampsToReturnInvalid


async def _stamped(client: Client, asked: ua.TimestampsToReturn) -> list[ua.HistoryReadResult]:
    node = await node_of(client, PATH)
    params = ua.HistoryReadParameters()
    params.HistoryReadDetails = ua.ReadRawModifiedDetails(
        IsReadModified=False, StartTime=_at(9000), EndTime=_at(9005), NumValuesPerNode=0, ReturnBounds=False
    )
    params.TimestampsToReturn = asked
    params.ReleaseContinuationPoints = False
    params.NodesToRead = [ua.HistoryReadValueId(NodeId=node.nodeid)]
    results: list[ua.HistoryReadResult] = await client.uaclient.session.history_read(params)
    return results


async def test_a_memory_on_disk_outlives_the_server(tmp_path: Path) -> None:
    memory, ledger = tmp_path / "memory.csv", tmp_path / "ledger.csv"
    old = [Sample(PATH, 0, T0_NS + n * NS, float(n), 0, True) for n in range(2500)]
    with Ledger(memory) as book:
        book.write(old)
    feed = SmallLine(start_s=9100)
    async with (
        served(feed, history_file=memory, ledger=ledger) as serving,
        Client(serving.endpoint) as client,
    ):
        node = await node_of(client, PATH)
        rows = await node.read_raw_history(_at(0), _at(9100.5), return_bounds=False)
        assert [(moment_ns(v.SourceTimestamp), v.Value.Value) for v in rows] == [
            *((s.time_ns, s.value) for s in old),
            *_published(ledger, PATH)[:1],
        ]
        # A page is shorter than that: continuation points were followed.
        assert len(rows) > 2 * PAGE_ROWS


async def test_without_the_option_nothing_is_remembered() -> None:
    line = ServedLine("opc.tcp://127.0.0.1:1", TAGS, Features(FlatSpace()))
    await line.build()
    node = line.server.get_node(line.layout.places[0][0].id)
    assert ua.AccessLevel.HistoryRead not in await node.get_access_level()
