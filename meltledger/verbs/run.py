"""``meltledger run``: collect, keep and judge one line."""

from __future__ import annotations

import asyncio
import signal
from pathlib import Path

import click

from meltledger.config import LineConfig, load
from meltledger.logs import set_up
from meltledger.wiring import MoreSources, run_line


@click.command("run", help="Collect, keep and judge one line, until stopped.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--log",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    envvar="MELTLEDGER_LOG",
    help="How the program's own log reads.",
)
def command(file: Path, log: str) -> int:
    """Run until Ctrl-C or SIGTERM; everything received until then is on disk."""
    set_up(as_json=log == "json")
    asyncio.run(run_until_asked(load(file)))
    return 0


async def run_until_asked(config: LineConfig, more_sources: MoreSources | None = None) -> None:
    """Run the line until this process is asked to stop by Ctrl-C or SIGTERM; SIGHUP reads its file again."""
    stop, again = asyncio.Event(), asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    loop.add_signal_handler(signal.SIGHUP, again.set)
    await run_line(config, stop, more_sources=more_sources, again=again)
