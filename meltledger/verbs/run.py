"""``meltledger run``: collect, keep and judge one line."""

from __future__ import annotations

import asyncio
import signal
from pathlib import Path

import click

from meltledger.config import load
from meltledger.logs import set_up
from meltledger.wiring import run_line


@click.command("run", help="Collect, keep and judge one line, until stopped.")
@click.argument("file", type=click.Path(path_type=Path))
def command(file: Path) -> int:
    """Run until Ctrl-C or SIGTERM; everything received until then is on disk."""
    set_up()
    asyncio.run(until_stopped(load(file)))
    return 0


async def until_stopped(config, *more) -> None:  # type: ignore[no-untyped-def]
    """Run the line until this process is asked to stop."""
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    await run_line(config, stop, more_sources=more)
