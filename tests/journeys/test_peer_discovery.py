"""Looking at a server on somebody else's OPC UA stack, which takes little at once and answers in pieces."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from collector.discovery import Standing, discover
from collector.opcua import browse as looking
from collector.opcua.browse import Bounds, browse
from collector.opcua.link import Link
from tests.support.node_peer import NodePeer
from tests.support.ports import free_port

pytestmark = [pytest.mark.peers, pytest.mark.timeout(120)]


@pytest.fixture(scope="module")
def endpoint(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    port = free_port()
    machine = NodePeer("opcua_server.js", tmp_path_factory.mktemp("machine"), (str(port),))
    machine.start()
    yield f"opc.tcp://127.0.0.1:{port}"
    machine.kill()


@pytest.mark.parametrize("page", [2, 1000])
async def test_answers_in_pieces_are_put_together(
    endpoint: str, page: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(looking, "_REFERENCES_AT_ONCE", page)
    async with Link.opened(endpoint) as link:
        assert link.limits.browse == 5
        space = await browse(link, Bounds(), lambda what, done: None)
    assert space.left_out == ()
    found = {f.place: f for f in discover(space).findings if f.place.count("/") == 1}
    assert {"Machine/level", "Machine/count.1", "Machine/count.2", "Machine/count.3"} <= set(found)
    inlet = found["Machine/count.1"]
    assert (inlet.standing, inlet.becomes, inlet.unit) == (
        Standing.CONFIRM,
        "filter.inlet.pressure.pv",
        "bar",
    )
    assert (found["Machine/count.3"].becomes, found["Machine/count.3"].unit) == ("die.pressure.pv", "kPa")
    assert found["Machine/count.2"].standing is Standing.UNKNOWN
