"""Runs the sources and the writer together, and stops them in the right order."""

from __future__ import annotations

import asyncio
from collections.abc import Iterable

from collector.inbox import Inbox
from collector.source import Source
from collector.writer import Writer


async def collect(sources: Iterable[Source], inbox: Inbox, writer: Writer) -> None:
    """Collect until cancelled: the sources stop first, then the writer keeps what they left."""
    async with asyncio.TaskGroup() as outer:
        writing = outer.create_task(writer.run())
        try:
            async with asyncio.TaskGroup() as inner:
                for source in sources:
                    inner.create_task(source.run(inbox, inbox.tell))
        finally:
            writing.cancel()
