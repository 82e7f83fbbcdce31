"""A TCP relay in front of a server, or on the way to one, that misbehaves on demand."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator, Callable
from typing import Final, cast

from historian.errors import OutsideWorldAway, WrongInput
from simulator.serving.trouble import Trouble

_PIECE: Final = 65_536
_WAITING_PIECES: Final = 256

# When a piece of data is due, and the data; None at the end of the stream.
_Way = asyncio.Queue[tuple[float, bytes] | None]


class TroubleRelay:
    """Passes connections on to a target, unless told otherwise.

    Attributes:
        host, port: where it listens.
    """

    def __init__(self, host: str, port: int, target: tuple[str, int]) -> None:
        self.host = host
        self.port = port
        self._target = target
        self._server: asyncio.Server | None = None
        self._ends: set[asyncio.StreamWriter] = set()
        self._serving: set[asyncio.Task[None]] = set()
        self._passing = asyncio.Event()
        self._passing.set()
        self._delay_s = 0.0
        self._over: dict[str, asyncio.TimerHandle] = {}
        self._reopening: asyncio.Task[None] | None = None

    @classmethod
    @contextlib.asynccontextmanager
    async def listening(cls, host: str, port: int, target: tuple[str, int]) -> AsyncIterator[TroubleRelay]:
        """A relay that listens until the end of the block; port 0: any that is free.

        Raises:
            OutsideWorldAway: it cannot listen there.
        """
        relay = cls(host, port, target)
        try:
            await relay._listen()
        except OSError as error:
            raise OutsideWorldAway(
                f"{host}:{port}: cannot listen there ({error}); name another address"
            ) from error
        try:
            yield relay
        finally:
            await relay._close()

    async def make(self, trouble: Trouble) -> None:
        """Do a deed to the connections; what lasts ends by itself after ``for_s``.

        Raises:
            WrongInput: for a deed that is not among ``RELAYED``.
        """
        match trouble.do:
            case "drop":
                self.drop()
            case "delay":
                self._delay_s = trouble.by_s
                self._after(trouble.for_s, "delay", self._hurry)
            case "half-open":
                self._passing.clear()
                self._after(trouble.for_s, "half-open", self._pass)
            case "refuse":
                await self._refuse(trouble.for_s)
            case _:
                raise WrongInput(f"'{trouble.do}' is nothing that is done to a connection on its way")

    def drop(self) -> None:
        """Break every connection without a goodbye."""
        for end in list(self._ends):
            end.transport.abort()

    def _pass(self) -> None:
        self._passing.set()

    def _hurry(self) -> None:
        self._delay_s = 0.0

    async def _refuse(self, seconds: float) -> None:
        if self._reopening is not None:
            self._reopening.cancel()
        if self._server is not None:
            self._server.close()
            self._server = None
        self.drop()
        self._reopening = asyncio.create_task(self._reopen(seconds))

    async def _reopen(self, seconds: float) -> None:
        await asyncio.sleep(seconds)
        await self._listen()

    def _after(self, seconds: float, what: str, call: Callable[[], None]) -> None:
        """End a deed after that time; the same deed again meanwhile makes it last longer."""
        if what in self._over:
            self._over[what].cancel()
        self._over[what] = asyncio.get_running_loop().call_later(seconds, call)

    async def _listen(self) -> None:
        self._server = await asyncio.start_server(self._serve, self.host, self.port)
        self.port = self._server.sockets[0].getsockname()[1]

    async def _close(self) -> None:
        for timer in self._over.values():
            timer.cancel()
        tasks = list(self._serving)
        if self._reopening is not None:
            tasks.append(self._reopening)
        if self._server is not None:
            self._server.close()
        self.drop()
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = cast("asyncio.Task[None]", asyncio.current_task())
        self._serving.add(task)
        self._ends.add(writer)
        ends = [writer]
        try:
            await self._passing.wait()
            far_reader, far_writer = await asyncio.open_connection(*self._target)
            ends.append(far_writer)
            self._ends.add(far_writer)
            async with asyncio.TaskGroup() as group:
                for source, sink in ((reader, far_writer), (far_reader, writer)):
                    way = _Way(_WAITING_PIECES)
                    group.create_task(self._take(source, way))
                    group.create_task(self._give(way, sink))
        except (OSError, ExceptionGroup):
            pass  # one side is gone: so is the other
        finally:
            for end in ends:
                end.transport.abort()
                self._ends.discard(end)
            self._serving.discard(task)

    async def _take(self, source: asyncio.StreamReader, way: _Way) -> None:
        while data := await source.read(_PIECE):
            await way.put((time.monotonic() + self._delay_s, data))
        await way.put(None)

    async def _give(self, way: _Way, sink: asyncio.StreamWriter) -> None:
        while (piece := await way.get()) is not None:
            due_s, data = piece
            await asyncio.sleep(max(0.0, due_s - time.monotonic()))
            await self._passing.wait()
            sink.write(data)
            await sink.drain()
        raise ConnectionError("one side said goodbye")
