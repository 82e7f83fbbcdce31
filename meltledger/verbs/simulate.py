"""``meltledger simulate``: run the simulated line, served over OPC UA or into a store's folder."""

from __future__ import annotations

import asyncio
import json
import signal
import sys
import time
from pathlib import Path
from typing import Any

import click

from historian.embedded import EmbeddedStore
from historian.errors import WrongInput
from historian.frame import NS
from simulator.opcua.server import Serving, serve
from simulator.run import batch, published_tags, write_truth
from simulator.scenario import Scenario
from simulator.scenario_file import load_scenario

_ENDPOINT = "opc.tcp://127.0.0.1:4840"


@click.command("simulate", help="Run a scenario of the simulated line: SCENARIO is a name or a TOML file.")
@click.argument("scenario")
@click.option(
    "--serve", "protocol", type=click.Choice(["opcua"]), default=None, help="Serve it over this protocol."
)
@click.option("--endpoint", default=_ENDPOINT, show_default=True, help="Address to serve at.")
@click.option(
    "--speed", type=click.FloatRange(1, 20), default=1.0, show_default=True, help="Times real time."
)
@click.option("--start-at", type=click.IntRange(0), default=0, show_default=True, help="Scenario second.")
@click.option("--begin", type=int, default=None, help="Time of second 0, UTC nanoseconds [default: now]")
@click.option("--to", type=click.Path(path_type=Path), default=None, help="Write a store into this folder.")
@click.option("--truth", type=click.Path(path_type=Path), default=None, help="Write what really goes wrong.")
@click.option("--ledger", type=click.Path(path_type=Path), default=None, help="Write every published sample.")
@click.option("--aux-channels", type=click.IntRange(0, 2000), default=0, help="Further analogue channels.")
@click.option("--without-faults", is_flag=True, help="The same scenario with nothing going wrong.")
@click.option("--while-parent", is_flag=True, hidden=True, help="Stop when standard input is closed.")
def command(scenario: str, protocol: str | None, to: Path | None, **options: Any) -> int:
    """Serve the scenario until stopped, or write it out as fast as it goes."""
    played = load_scenario(scenario)
    if options["without_faults"]:
        played = played.without_faults()
    if (protocol is None) == (to is None):
        raise WrongInput("say one of --serve opcua and --to FOLDER")
    if to is not None:
        return _to_folder(played, to, options)
    asyncio.run(_serve(played, options))
    return 0


def _to_folder(scenario: Scenario, folder: Path, options: dict[str, Any]) -> int:
    """Write the whole scenario into a store, with the truth beside it."""
    begin_ns = options["begin"] if options["begin"] is not None else time.time_ns() // NS * NS
    store = EmbeddedStore.open(folder)
    if store.span() is not None:
        raise WrongInput(f"{folder}: there is a store with samples here already; name a new folder")
    try:
        tags = store.register(published_tags(scenario, aux_channels=options["aux_channels"]))
        frames = batch(scenario, tags, begin_ns, options["start_at"], aux_channels=options["aux_channels"])
        samples = 0
        with click.progressbar(frames, label=scenario.name, file=sys.stderr) as progress:
            for frame in progress:
                store.append(frame)
                samples += len(frame)
    finally:
        store.close()
    write_truth(options["truth"] or folder / "truth.json", scenario, begin_ns)
    click.echo(f"{samples} samples of {len(tags)} tags in {folder}")
    return 0


async def _serve(scenario: Scenario, options: dict[str, Any]) -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    if options["while_parent"]:
        loop.run_in_executor(None, lambda: (sys.stdin.read(), loop.call_soon_threadsafe(stop.set)))
    await serve(
        scenario,
        endpoint=options["endpoint"],
        speed=options["speed"],
        start_s=options["start_at"],
        t0_ns=options["begin"],
        aux_channels=options["aux_channels"],
        ledger=options["ledger"],
        stop=stop,
        ready=_tell,
    )


def _tell(serving: Serving) -> None:
    """One line of JSON, for a person and for a program that waits for it."""
    told = {"endpoint": serving.endpoint, "t0_ns": serving.t0_ns, "start_s": serving.start_s}
    click.echo(json.dumps(told))
    sys.stdout.flush()
