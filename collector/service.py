"""Runs a line's sources, each in a task of its own, beside the writer, and stops them in the right order."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable

import structlog

from collector.backoff import Backoff
from collector.clock import Clock
from collector.keeping.inbox import Inbox
from collector.keeping.writer import Writer
from collector.source import Source
from historian.event import Event

ASK_AGAIN_S = 3.0

_log = structlog.get_logger(__name__)


class Roster:
    """The sources that run now; they come and go while the line runs.

    Whatever goes wrong inside one source is told and tried again, and never touches another one.

    Args:
        inbox: where they deliver.
        clock: the edge's.
    """

    def __init__(self, inbox: Inbox, clock: Clock) -> None:
        self._inbox, self._clock = inbox, clock
        self._running: dict[str, tuple[Source, asyncio.Task[None]]] = {}

    @property
    def sources(self) -> list[Source]:
        """What runs now, in the order in which it was started."""
        return [source for source, _ in self._running.values()]

    def start(self, source: Source) -> None:
        """Let a source run; its name must not be running already."""
        task = asyncio.create_task(self._supervised(source), name=f"source {source.name}")
        self._running[source.name] = (source, task)

    async def stop(self, names: Iterable[str] | None = None) -> None:
        """Stop these sources (all when left out), all at once, and wait until they have ended."""
        chosen = list(self._running) if names is None else [n for n in names if n in self._running]
        await asyncio.gather(*(_ended(self._running.pop(name)[1]) for name in chosen))

    async def _supervised(self, source: Source) -> None:
        backoff = Backoff(5.0, 60.0)
        while True:
            try:
                await source.run(self._inbox, self._inbox.tell)
                return
            except Exception as error:
                # Not foreseen, whatever it is: the other sources must go on.
                wait_s = backoff.next_s()
                _log.exception("source_failed", source=source.name, next_try_s=round(wait_s, 1))
                self._inbox.lost(source.name)
                self._inbox.tell(self._failed(source.name, error))
                await asyncio.sleep(wait_s)

    def _failed(self, name: str, error: Exception) -> Event:
        text = (
            f"Source {name} failed inside this program ({type(error).__name__}: {error}). It is started "
            "again by itself; the gap is marked as bad. Remedy: report it with the log of this time."
        )
        return Event(self._clock.now_ns(), name, "source-failed", text, {"error": type(error).__name__})


async def collect(roster: Roster, writer: Writer) -> None:
    """Collect until cancelled: the sources stop first, then the writer keeps what they left."""
    writing = asyncio.create_task(writer.run())
    try:
        await asyncio.shield(writing)
    finally:
        await roster.stop()
        await _ended(writing)


async def _ended(task: asyncio.Task[None]) -> None:
    """Cancel a task, and see to it that it ends.

    A cancellation can be lost below us: before Python 3.12 ``asyncio.wait_for``, which libraries use, loses
    one that comes in the moment in which it has its result. So the task is asked again until it has ended.
    """
    while not task.done():
        task.cancel()
        await asyncio.wait([task], timeout=ASK_AGAIN_S)
    if not task.cancelled():
        task.result()
