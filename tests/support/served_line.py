"""A simulated line served in the test's own loop, or in a thread of its own."""

from __future__ import annotations

import asyncio
import shutil
import threading
from collections.abc import AsyncIterator, Coroutine, Iterator
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from asyncua import Client, Node, ua

from simulator.opcua.places import NAMESPACE
from simulator.opcua.security import Security
from simulator.opcua.served import ServedLine
from simulator.opcua.server import serve
from simulator.serving.feed import Feed
from simulator.serving.serving import Serving
from tests.support.ports import free_port


@asynccontextmanager
async def served(feed: Feed, **options: Any) -> AsyncIterator[Serving]:
    """A line that is served until the end of the block."""
    stop = asyncio.Event()
    ready: asyncio.Future[Serving] = asyncio.get_running_loop().create_future()
    options.setdefault("endpoint", f"opc.tcp://127.0.0.1:{free_port()}")
    task = asyncio.create_task(serve(feed, stop=stop, ready=ready.set_result, **options))
    await asyncio.wait({task, ready}, return_when=asyncio.FIRST_COMPLETED)
    if task.done():
        task.result()
    try:
        yield ready.result()
    finally:
        stop.set()
        await task


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """A line served in another thread, so that it can freeze and the test goes on."""

    serving: Serving
    loop: asyncio.AbstractEventLoop

    @property
    def line(self) -> ServedLine:
        """The line itself."""
        return line_of(self.serving)

    async def do(self, deed: Coroutine[Any, Any, None]) -> None:
        """Run something in the line's loop and wait for it."""
        await asyncio.wrap_future(asyncio.run_coroutine_threadsafe(deed, self.loop))


@contextmanager
def served_elsewhere(feed: Feed, **options: Any) -> Iterator[Elsewhere]:
    """A line that is served by a thread until the end of the block."""
    told: list[Elsewhere] = []
    raised: list[BaseException] = []
    stop: list[asyncio.Event] = []
    known = threading.Event()

    async def run() -> None:
        stop.append(asyncio.Event())
        loop = asyncio.get_running_loop()

        def tell(serving: Serving) -> None:
            told.append(Elsewhere(serving, loop))
            known.set()

        await serve(feed, endpoint=f"opc.tcp://127.0.0.1:{free_port()}", stop=stop[0], ready=tell, **options)

    def work() -> None:
        try:
            asyncio.run(run())
        except BaseException as error:
            raised.append(error)
        finally:
            known.set()

    thread = threading.Thread(target=work)
    thread.start()
    assert known.wait(90.0)
    if raised:
        raise raised[0]
    try:
        yield told[0]
    finally:
        told[0].loop.call_soon_threadsafe(stop[0].set)
        thread.join(30.0)
        if raised:
            raise raised[0]


def line_of(serving: Serving) -> ServedLine:
    """The line behind an OPC UA server."""
    assert isinstance(serving.line, ServedLine)
    return serving.line


async def node_of(client: Client, path: str) -> Node:
    """The variable of a tag on a flat server."""
    return client.get_node(ua.NodeId(path, await client.get_namespace_index(NAMESPACE)))


async def certificate_of(client: Client, folder: Path, name: str, security: Security | None = None) -> None:
    """Give a client a certificate of its own; the server trusts it where its security is named."""
    client.application_uri = f"urn:test:{name}"
    own = folder / f"{name}.der"
    await client.setup_self_signed_certificate(folder / f"{name}.pem", own)
    if security is not None:
        shutil.copy(own, security.trusted)
