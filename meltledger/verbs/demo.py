"""``meltledger demo``: a simulated line with everything that belongs to one, on embedded defaults."""

from __future__ import annotations

import asyncio
import json
import os
import shutil
import socket
import subprocess
import sys
import webbrowser
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

import click

from historian.errors import OutsideWorldAway, WrongInput
from meltledger.config import LineConfig, load
from meltledger.demoline import PastHours, write_line_file
from meltledger.logs import set_up
from meltledger.verbs.run import run_until_asked
from simulator.scenarios.file import load_scenario
from simulator.scenarios.scenario import Scenario
from trials.record import TrialRecord

_PAST_S = 4 * 3600
_MARK = "made-by-meltledger-demo"


@click.command(
    "demo", help="A simulated line, collector, rules and pages on embedded defaults; Ctrl-C ends it."
)
@click.option("--port", type=int, default=8050, envvar="PORT", show_default=True, help="Port of the pages.")
@click.option(
    "--folder",
    type=click.Path(path_type=Path),
    default=Path("build/demo"),
    show_default=True,
    help="Where it keeps its data.",
)
@click.option("--zone", default="Europe/Madrid", show_default=True, help="IANA time zone of the site.")
@click.option("--scenario", default="trial_day", show_default=True, help="Name or TOML file.")
@click.option(
    "--speed", type=click.FloatRange(1, 20), default=1.0, show_default=True, help="Times real time."
)
@click.option("--no-browser", is_flag=True, help="Open no browser.")
def command(port: int, folder: Path, zone: str, scenario: str, speed: float, no_browser: bool) -> int:
    """Start the simulated line, the collector with the rules, and the pages; end them together."""
    set_up()
    played = load_scenario(scenario)
    _port_is_free(port)
    _fresh(folder)
    with ExitStack() as stack:
        past_s = int(played.opens_s) or _PAST_S
        arguments = ["simulate", scenario, "--serve", "opcua", "--start-at", str(past_s)]
        arguments += ["--speed", f"{speed:g}", "--truth", str(folder / "truth.json")]
        endpoint = f"opc.tcp://127.0.0.1:{_free_port()}"
        line = stack.enter_context(_child([*arguments, "--endpoint", endpoint, "--while-parent"]))
        t0_ns = _told(line)["t0_ns"]
        file = folder / "line.toml"
        clock = "wall" if speed == 1.0 else "own"
        write_line_file(file, played, endpoint, port=port, zone=zone, clock=clock)
        config = load(file)
        _open_trial(config, played, t0_ns)
        pages = stack.enter_context(_child(["serve", str(file), "--port", str(port), "--while-parent"]))
        address = f"http://127.0.0.1:{port}"
        click.echo(f"\nSimulated line, everything on the pages is invented: {address}\nCtrl-C ends it.\n")
        if not no_browser and (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
            webbrowser.open(address)
        asyncio.run(run_until_asked(config, lambda parts: [PastHours(played, parts.tags, t0_ns)]))
        click.echo("ending the pages and the simulated line …")
        _end(pages, line)
    return 0


def _open_trial(config: LineConfig, scenario: Scenario, start_ns: int) -> None:
    """The trial that is under way when the demo opens."""
    with closing(TrialRecord.open(config.trials)) as record:
        plan = {"throughput_kg_h": config.facts.planned_kg_h, "fineness_um": scenario.line.fineness_um}
        record.open_trial(
            scenario.title,
            customer=scenario.customer or "invented",
            code_name=scenario.trial or "heron",
            start_ns=start_ns,
            plan=plan,
        )


def _fresh(folder: Path) -> None:
    """An empty folder for this demo; an earlier demo's is cleared, anybody else's is left alone."""
    if folder.exists() and any(folder.iterdir()):
        if not (folder / _MARK).exists():
            raise WrongInput(f"{folder}: is not empty and was not made by the demo; name another --folder")
        shutil.rmtree(folder)
    (folder / "data").mkdir(parents=True)
    (folder / _MARK).write_text("cleared at the next start of the demo\n", encoding="utf-8")


def _port_is_free(port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as error:
            raise OutsideWorldAway(f"port {port} is taken; name another: PORT=8060 make demo") from error


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def _child(arguments: Sequence[str]) -> Iterator[subprocess.Popen[str]]:
    """One of our verbs in a process of its own, outside the terminal's group: Ctrl-C reaches this one only.

    It ends when its standard input is closed, so it cannot outlive this process, however that ends.
    """
    process = subprocess.Popen(
        [sys.executable, "-m", "meltledger", *arguments],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    try:
        yield process
    finally:
        _end(process)


def _end(*processes: subprocess.Popen[str]) -> None:
    for process in processes:
        if process.poll() is None:
            process.terminate()
    for process in processes:
        try:
            process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _told(line: subprocess.Popen[str]) -> dict[str, int]:
    """What the simulated line says once it can be read."""
    text = line.stdout.readline() if line.stdout else ""
    if not text:
        raise OutsideWorldAway("the simulated line did not start; what it said stands above")
    told: dict[str, int] = json.loads(text)
    return told
