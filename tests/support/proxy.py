"""A TCP proxy that misbehaves on demand: cuts, refuses, delays, freezes, garbles."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager


class Proxy:
    """Forwards 127.0.0.1:port to a target.

    Attributes:
        port: where it listens.
        delay_s: added to each piece of data in both directions.
        garble: spoil what comes from the target.
        refuse: close new connections at once.
    """

    def __init__(self, target_port: int) -> None:
        self._target_port = target_port
        self._writers: set[asyncio.StreamWriter] = set()
        self._tasks: set[asyncio.Task[None]] = set()
        self._running = asyncio.Event()
        self._running.set()
        self.port = 0
        self.delay_s = 0.0
        self.garble = False
        self.refuse = False

    @classmethod
    @asynccontextmanager
    async def to(cls, target_port: int) -> AsyncIterator[Proxy]:
        """A running proxy, closed at the end."""
        proxy = cls(target_port)
        server = await asyncio.start_server(proxy._serve, "127.0.0.1", 0)
        proxy.port = server.sockets[0].getsockname()[1]
        try:
            yield proxy
        finally:
            server.close()
            proxy.cut()
            for task in list(proxy._tasks):
                task.cancel()
            await asyncio.gather(*proxy._tasks, return_exceptions=True)

    def cut(self) -> None:
        """Break every connection now, without a goodbye."""
        for writer in list(self._writers):
            writer.transport.abort()

    def freeze(self) -> None:
        """Hold everything back; connections stay open."""
        self._running.clear()

    def thaw(self) -> None:
        """Let everything through again."""
        self._running.set()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._tasks.add(task)
        self._writers.add(writer)
        far_writer: asyncio.StreamWriter | None = None
        try:
            if self.refuse:
                return
            far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self._target_port)
            self._writers.add(far_writer)
            async with asyncio.TaskGroup() as group:
                group.create_task(self._pump(reader, far_writer, spoil=False))
                group.create_task(self._pump(far_reader, writer, spoil=True))
        except (OSError, ExceptionGroup):
            pass
        finally:
            for end in (writer, far_writer):
                if end is not None:
                    end.transport.abort()
                    self._writers.discard(end)
            self._tasks.discard(task)

    async def _pump(self, source: asyncio.StreamReader, sink: asyncio.StreamWriter, *, spoil: bool) -> None:
        while data := await source.read(65_536):
            await self._running.wait()
            if self.delay_s:
                await asyncio.sleep(self.delay_s)
            if spoil and self.garble:
                data = bytes(b ^ 0x5A for b in data)
            sink.write(data)
            await sink.drain()
        raise ConnectionError("end of stream")
