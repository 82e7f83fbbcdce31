"""What a real server remembers is read whole, in whichever way it answers."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from contextlib import suppress

import pytest
from asyncua import ua

from collector.errors import HistoryAway
from collector.opcua.history import read_raw, remembers
from collector.opcua.limits import Limits
from collector.opcua.link import Link
from collector.opcua.values import Changes
from tests.support.opcua_server import URI, OpcUaServer, ServedTag

ROWS = 260


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpcUaServer]:
    """A server with two nodes that it remembers, one of which has a long history, and one that it does not."""
    server = OpcUaServer(
        tmp_path_factory.mktemp("server"),
        {"A": ServedTag(remembered=True), "B": ServedTag(remembered=True), "Plain": ServedTag()},
        limits={
            "OperationLimits_MaxNodesPerRead": 2,
            "OperationLimits_MaxNodesPerHistoryReadData": 40,
            "MaxHistoryContinuationPoints": 3,
        },
    )
    asyncio.run(_started(server))
    yield server
    server.kill()


async def _started(server: OpcUaServer) -> None:
    await server.start()
    for number in range(ROWS - 1):
        await server.set("A", float(number))


def truth(server: OpcUaServer, name: str) -> list[tuple[int, float]]:
    return [(t, v) for n, t, v in server.served() if n == name]


def told(answer: Changes | None) -> list[tuple[int, float]]:
    """Each time once, as whoever fills a gap keeps it."""
    assert answer is not None
    return sorted(set(zip(answer.source_ns.tolist(), answer.value.tolist(), strict=True)))


def nodes(link: Link, *names: str) -> list[ua.NodeId]:
    return [ua.NodeId(name, link.namespaces.index(URI)) for name in names]


@pytest.mark.parametrize(
    "ways",
    [
        {"page": 0},
        {"page": 7},
        {"page": 100, "points": False},
        {"page": 130, "points": False, "end": False},
        {"page": 0, "end": False},
    ],
)
async def test_all_of_it_and_nothing_twice(server: OpcUaServer, ways: dict[str, object]) -> None:
    await server.remember(**{"page": 0, "points": True, "end": True, **ways})
    all_of_it = truth(server, "A")
    assert len(all_of_it) == ROWS
    start_ns, end_ns = all_of_it[5][0], all_of_it[-1][0]
    async with Link.opened(server.endpoint) as link:
        a, b, plain = await read_raw(link, nodes(link, "A", "B", "Plain"), start_ns, end_ns)
    assert [row for row in told(a) if row[0] >= start_ns] == all_of_it[5:]
    assert [row for row in told(b) if row[0] >= start_ns] == []
    assert told(plain) == []


async def test_what_the_server_says_of_its_history_and_limits(server: OpcUaServer) -> None:
    async with Link.opened(server.endpoint) as link:
        assert link.limits == Limits(read=2, history=3)
        said = await remembers(link, nodes(link, "A", "Plain", "A"))
    assert [(s.readable, s.records) for s in said] == [(True, True), (False, False), (True, True)]


async def test_too_much_at_once_is_told_and_the_connection_lives(server: OpcUaServer) -> None:
    await server.remember(page=0, points=True, at_once=1)
    rows = truth(server, "A")
    async with Link.opened(server.endpoint) as link:
        with pytest.raises(HistoryAway) as caught:
            await read_raw(link, nodes(link, "A", "B"), rows[0][0], rows[-1][0])
        assert caught.value.too_much
        (a,) = await read_raw(link, nodes(link, "A"), rows[0][0], rows[-1][0])
    await server.remember(at_once=0)
    assert told(a) == rows


async def test_one_node_that_is_refused_does_not_stop_the_others(server: OpcUaServer) -> None:
    await server.remember(page=50, points=True, refused=["B"])
    rows = truth(server, "A")
    async with Link.opened(server.endpoint) as link:
        a, b = await read_raw(link, nodes(link, "A", "B"), rows[0][0], rows[-1][0])
    await server.remember(refused=[])
    assert told(a) == rows and b is None


async def test_points_are_given_back_when_there_is_too_much(
    server: OpcUaServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("collector.opcua.history._MOST", 100)
    await server.remember(page=40, points=True)
    rows = truth(server, "A")
    async with Link.opened(server.endpoint) as link:
        before = await server.remember()
        with pytest.raises(HistoryAway, match="more than 100"):
            await read_raw(link, nodes(link, "A", "B"), rows[0][0], rows[-1][0])
        after = await server.remember()
    assert after["released"] - before["released"] == 1


async def test_a_server_that_does_not_answer_in_time_is_asked_for_less(server: OpcUaServer) -> None:
    async with Link.opened(server.endpoint) as link:

        class Slow:
            async def history_read(self, parameters: ua.HistoryReadParameters) -> list[ua.HistoryReadResult]:
                raise TimeoutError

        real = link._client.uaclient.session
        link._client.uaclient.session = Slow()  # type: ignore[assignment]
        with pytest.raises(HistoryAway) as caught:
            await read_raw(link, nodes(link, "A"), 0, 1)
        link._client.uaclient.session = real
        assert caught.value.too_much
        with suppress(HistoryAway):
            await read_raw(link, nodes(link, "A"), 0, 1)
