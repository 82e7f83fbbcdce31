"""Looking at an address space: real servers, and servers that answer piecemeal, refuse or never end."""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Any

import pytest
from asyncua import Server, ua

from collector.discovery import Space, discover
from collector.discovery.companion_table import MACHINES
from collector.discovery.space import Span
from collector.errors import SourceAway
from collector.opcua.browse import Bounds, browse
from collector.opcua.limits import Limits
from collector.opcua.link import Link
from collector.opcua.nodes import is_simulated, resolve
from collector.reading.told_unit import ToldUnit
from tests.support.ports import free_port

URI = "urn:test:plant"


def silent(what: str, done: int) -> None:
    """No progress."""


@asynccontextmanager
async def serving() -> AsyncIterator[tuple[Server, int, str]]:
    """An empty server, the index of ``URI`` and its endpoint."""
    server = Server()
    await server.init()
    endpoint = f"opc.tcp://127.0.0.1:{free_port()}"
    server.set_endpoint(endpoint)
    server.set_security_policy([ua.SecurityPolicyType.NoSecurity])
    # An index that is not the first, so that indices are not mistaken for what they are not.
    await server.register_namespace("urn:test:other")
    index = await server.register_namespace(URI)
    async with server:
        yield server, index, endpoint


async def test_everything_is_seen_once_with_what_it_says_and_circles_end() -> None:
    async with serving() as (server, index, endpoint):
        kind = await server.register_namespace(MACHINES["Filter"].uri)
        base = await server.nodes.base_object_type.add_object_type(
            ua.NodeId(1002, kind), f"{kind}:Filter_InterfaceType"
        )
        own = await base.add_object_type(index, "MakersFilter")
        finer = await own.add_object_type(index, "MakersFinerFilter")
        plant = await server.nodes.objects.add_folder(index, "Plant")
        machine = await plant.add_object(
            index, "Machine", objecttype=finer.nodeid, instantiate_optional=False
        )
        pressure = await machine.add_variable(ua.NodeId("P 1;x", index), f"{index}:P1", 93.5)
        info = ua.EUInformation(UnitId=4342098, DisplayName=ua.LocalizedText("bar"))
        await pressure.add_property(ua.NodeId(NamespaceIndex=index), "0:EngineeringUnits", info)
        await pressure.add_property(ua.NodeId(NamespaceIndex=index), "0:EURange", ua.Range(0, 250))
        await pressure.write_attribute(
            ua.AttributeIds.Description, ua.DataValue(ua.Variant(ua.LocalizedText("Massedruck vor Sieb")))
        )
        await machine.add_variable(index, "Curve", [1.0, 2.0])
        bad = await machine.add_variable(index, "Bad", 1.0)
        await bad.write_value(ua.DataValue(None, ua.StatusCode(ua.StatusCodes.BadSensorFailure)))
        await machine.add_method(index, "Start", lambda parent: [])
        again = await server.nodes.objects.add_folder(index, "Again")
        await again.add_reference(machine, ua.ObjectIds.Organizes)
        await machine.add_reference(plant, ua.ObjectIds.HasComponent)
        async with Link.opened(endpoint) as link:
            space = await browse(link, Bounds(), silent)
            assert resolve(f"nsu={URI};s=P 1;x", link.namespaces) == pressure.nodeid
    by_name = {n.name: n for n in space.nodes.values()}
    assert "Start" not in by_name and "ServerStatus" not in by_name
    assert len([n for n in space.nodes.values() if n.name == "Machine"]) == 1
    node = by_name["P1"]
    assert (node.address, node.uri) == (f"nsu={URI};s=P 1;x", URI)
    assert node.told is not None and (node.told.value, node.told.text) == (93.5, "Massedruck vor Sieb")
    assert (space.unit(node), space.span(node)) == (ToldUnit(4342098, "bar"), Span(0.0, 250.0))
    curve, broken = by_name["Curve"].told, by_name["Bad"].told
    assert curve is not None and not curve.is_number
    assert broken is not None and broken.is_number and broken.value is None
    assert [m.kind for m in discover(space).machines] == ["Filter"]
    assert space.left_out == ()


@dataclass
class Scripted:
    """A server that is asked for its nodes and answers as it is told to.

    Attributes:
        below: node → nodes below it.
        page: references in one answer.
        at_once: nodes that it takes in one request.
        points: continuation points that it holds.
        refuses: nodes that it does not let be looked into.
        asked: how many nodes each request named.
    """

    below: dict[int, list[int]]
    page: int = 1000
    at_once: int = 1000
    points: int = 1000
    refuses: set[int] = field(default_factory=set)
    limits: Limits = field(default_factory=Limits)
    namespaces: list[str] = field(default_factory=lambda: ["http://opcfoundation.org/UA/", "urn:s", URI])
    asked: list[int] = field(default_factory=list)
    released: int = 0
    _given: int = 0
    _held: dict[bytes, list[int]] = field(default_factory=dict)

    @property
    def session(self) -> Scripted:
        return self

    async def ask(self, request: Any) -> Any:
        try:
            return await request
        except ua.UaStatusCodeError as error:
            raise SourceAway(str(error)) from error

    async def read(self, nodes: Sequence[ua.NodeId], attribute: ua.AttributeIds) -> list[ua.DataValue]:
        told = {
            ua.AttributeIds.DataType: ua.NodeId(11),
            ua.AttributeIds.ValueRank: -1,
            ua.AttributeIds.Description: ua.LocalizedText(""),
        }
        return [ua.DataValue(ua.Variant(told.get(attribute, 1.0))) for _ in nodes]

    async def browse(self, parameters: ua.BrowseParameters) -> list[ua.BrowseResult]:
        self.asked.append(len(parameters.NodesToBrowse))
        if len(parameters.NodesToBrowse) > self.at_once:
            raise ua.UaStatusCodeError(ua.StatusCodes.BadTooManyOperations)
        self._held.clear()
        return [self._answer(int(d.NodeId.Identifier)) for d in parameters.NodesToBrowse]

    async def browse_next(self, parameters: ua.BrowseNextParameters) -> list[ua.BrowseResult]:
        (point,) = parameters.ContinuationPoints
        rest = self._held.pop(point)
        if parameters.ReleaseContinuationPoints:
            self.released += 1
            return [ua.BrowseResult()]
        return [self._page(rest)]

    def _answer(self, node: int) -> ua.BrowseResult:
        if node in self.refuses:
            return ua.BrowseResult(StatusCode=ua.StatusCode(ua.StatusCodes.BadUserAccessDenied))
        return self._page(self.below.get(node, []))

    def _page(self, nodes: list[int]) -> ua.BrowseResult:
        result = ua.BrowseResult(References=[_reference(n) for n in nodes[: self.page]])
        if nodes[self.page :]:
            if len(self._held) >= self.points:
                return ua.BrowseResult(StatusCode=ua.StatusCode(ua.StatusCodes.BadNoContinuationPoints))
            self._given += 1
            result.ContinuationPoint = str(self._given).encode()
            self._held[result.ContinuationPoint] = nodes[self.page :]
        return result

    async def look(self, **bounds: Any) -> Space:
        space: Space = await browse(self, Bounds(**bounds), silent)  # type: ignore[arg-type]
        return space


def _reference(number: int) -> ua.ReferenceDescription:
    return ua.ReferenceDescription(
        IsForward=True,
        NodeId=ua.NodeId(number, 2),
        BrowseName=ua.QualifiedName(f"N{number}", 2),
        DisplayName=ua.LocalizedText(f"N{number}"),
        NodeClass=ua.NodeClass.Object if number < 1000 else ua.NodeClass.Variable,
        TypeDefinition=ua.NodeId(61 if number < 1000 else 63),
    )


def numbers(space: Space) -> set[int]:
    return {int(a.rpartition("=")[2]) for a in space.nodes if a.startswith("nsu=")}


WIDE = {85: [1, 2, 3], 1: list(range(1000, 1025)), 2: list(range(2000, 2009)), 3: list(range(3000, 3017))}
ALL = {1, 2, 3, *WIDE[1], *WIDE[2], *WIDE[3]}


@pytest.mark.parametrize("page", [1, 4, 9, 1000])
@pytest.mark.parametrize("points", [1, 2, 1000])
@pytest.mark.parametrize("at_once", [1, 2, 1000])
async def test_answers_in_pieces_are_put_together(page: int, points: int, at_once: int) -> None:
    space = await Scripted(WIDE, page=page, points=points, at_once=at_once).look()
    assert numbers(space) == ALL
    assert space.left_out == ()


async def test_a_server_is_not_asked_for_more_nodes_than_it_takes() -> None:
    server = Scripted(WIDE, at_once=7, limits=Limits(browse=7))
    assert numbers(await server.look()) == ALL
    assert max(server.asked) == 7


async def test_what_a_server_does_not_show_is_told() -> None:
    space = await Scripted(WIDE, refuses={2}).look()
    assert numbers(space) == ALL - set(WIDE[2])
    assert space.left_out == (f"nsu={URI};i=2 could not be looked into (BadUserAccessDenied)",)


async def test_no_more_nodes_are_looked_at_than_allowed() -> None:
    space = await Scripted(WIDE).look(nodes=20)
    assert len(space.nodes) == 20
    assert space.left_out == ("it has more than 20 nodes; the others were not looked at",)


async def test_a_node_with_very_many_below_is_cut_and_its_point_given_back() -> None:
    server = Scripted({85: [1], 1: list(range(1000, 1500))}, page=50)
    space = await server.look(below=100)
    assert numbers(space) == {1, *range(1000, 1100)}
    assert space.left_out == (f"nsu={URI};i=1 has more than 100 nodes; the others were not looked at",)
    assert server.released == 1


async def test_a_server_without_an_end_is_left_when_the_time_is_up() -> None:
    endless = Scripted({85: [1]})
    endless.below = _Endless()
    space = await endless.look(seconds=0.3, nodes=10**9)
    assert len(space.nodes) > 2
    assert any("took longer than 0 s" in text for text in space.left_out)


class _Endless(dict[int, list[int]]):
    """Below every node is another one."""

    def get(self, node: int, default: Any = None) -> list[int]:
        return [node % 900 + 1 if node < 900 else 1, *[(node * 7 + n) % 2**31 for n in range(3)]]


async def test_a_connection_that_breaks_is_said() -> None:
    server = Scripted(WIDE)
    server.at_once = 0
    with pytest.raises(SourceAway, match="BadTooManyOperations"):
        await server.look()


def test_every_simulated_line_is_known_by_a_namespace() -> None:
    assert is_simulated(["http://x", "urn:meltledger:simulated-line"])
    assert is_simulated(["http://x", "urn:meltledger:simulated-line:machines"])
    assert not is_simulated(["urn:meltledger:simulated-linear", "urn:plant"])
