"""``meltledger serve``: show the pages of one or more lines."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path

import click
import structlog

from dashboard.app import create_app
from dashboard.app import serve as serve_app
from dashboard.reads import LineReads
from historian.errors import MeltledgerError
from historian.store import Store
from meltledger.config import LineConfig, load
from meltledger.logs import set_up
from meltledger.stores import may_come, open_store
from rules.journal import Journal
from trials.record import TrialRecord

log = structlog.get_logger()


@click.command("serve", help="Show the pages of one or more lines, until stopped.")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", type=int, default=None, envvar="PORT", help="Port [default: that of the first file]")
@click.option("--while-parent", is_flag=True, hidden=True, help="Stop when standard input is closed.")
def command(files: Sequence[Path], host: str, port: int | None, while_parent: bool) -> int:
    """Serve until Ctrl-C or SIGTERM."""
    set_up()
    configs = [load(file) for file in files]
    _stop_on_sigterm()
    if while_parent:
        threading.Thread(target=_follow_parent, daemon=True).start()
    lines = [_reads(config) for config in configs]
    wall = configs[0].file.dashboard.wall
    app = create_app(lines, wall_mm=(wall.width, wall.distance * 1000.0) if wall else None)
    chosen = port or configs[0].file.dashboard.port
    log.info("pages_served", address=f"http://{host}:{chosen}", lines=[c.facts.name for c in configs])
    try:
        serve_app(app, host, chosen)
    except KeyboardInterrupt:
        log.info("pages_stopped")
    return 0


def _reads(config: LineConfig) -> LineReads:
    """The line's store, journal and trial record, opened for the pages; waits for the first `run`."""
    return LineReads(
        name=config.facts.name,
        zone=config.file.line.zone,
        store=_first_store(config),
        journal=Journal.open(config.journal, mode="write"),
        trials=TrialRecord.open(config.trials),
        facts=config.facts,
        simulated=config.simulated,
    )


def _first_store(config: LineConfig) -> Store:
    told = False
    while True:
        try:
            return open_store(config, mode="read")
        except MeltledgerError as error:
            if not may_come(config, error):
                raise
            if not told:
                log.info("waiting_for_store", line=config.facts.name, reason=str(error))
            told = True
        time.sleep(0.5)


def _stop_on_sigterm() -> None:
    """SIGTERM ends the pages as Ctrl-C does."""

    def stop(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    signal.signal(signal.SIGTERM, stop)


def _follow_parent() -> None:
    """End this process when whoever started it is gone: its end of our standard input is closed then."""
    sys.stdin.read()
    os.kill(os.getpid(), signal.SIGTERM)
