"""``meltledger simulate``: run the simulated line or play a recording, served or written out."""

from __future__ import annotations

import asyncio
import contextlib
import json
import signal
import sys
import time
from pathlib import Path
from typing import Any

import click

from historian.embedded.store import EmbeddedStore
from historian.embedded.upkeep import Upkeep
from historian.errors import WrongInput
from historian.frame import NS
from historian.retention import Keep
from meltledger.logs import set_up
from simulator.json_file import write_json
from simulator.mqtt_options import OF_SPARKPLUG, mqtt_options, serve_mqtt
from simulator.opcua import server
from simulator.opcua.options import OF_OPCUA, opcua_arguments, opcua_options
from simulator.parquet_file import write_beside, write_parquet
from simulator.recorded.playback import Playback, recording_at
from simulator.run import batch, published_tags, write_truth
from simulator.scenarios.file import load_scenario
from simulator.scenarios.scenario import Scenario
from simulator.scenarios.variants import named_variant
from simulator.serving.feed import Feed, ScenarioFeed
from simulator.serving.serving import Serving
from simulator.serving.trouble import load_troubles

_PATH = click.Path(path_type=Path)
# What a recording has no use for.
_OF_SCENARIOS = ("start_at", "begin", "to", "truth", "aux_channels", "without_faults", "variant")
_PROTOCOLS = click.Choice(["opcua", "mqtt", "sparkplug"])


@click.command(
    "simulate",
    help="Run a scenario of the simulated line (SCENARIO is a name or a TOML file), or play a recording.",
)
@click.argument("scenario", required=False)
@click.option(
    "--from", "recording", type=_PATH, default=None, help="Play a store's folder, a CSV or a Parquet file."
)
@click.option("--keep-times", is_flag=True, help="Play a recording under its own times, not moved to now.")
@click.option("--serve", "protocol", type=_PROTOCOLS, default=None, help="Serve it over this protocol.")
@click.option("--to", type=_PATH, default=None, help="Write FILE.parquet, or a store into a FOLDER.")
@click.option(
    "--speed",
    type=click.FloatRange(0, min_open=True),
    default=1.0,
    show_default=True,
    help="Times real time: 1 to 20 for a scenario.",
)
@click.option("--variant", default=None, help="Another plant and day: faulty:N or healthy:N.")
@click.option("--without-faults", is_flag=True, help="The same scenario with nothing going wrong.")
@click.option("--start-at", type=click.IntRange(0), default=0, show_default=True, help="Scenario second.")
@click.option("--begin", type=int, default=None, help="Time of second 0, UTC nanoseconds [default: now]")
@click.option("--aux-channels", type=click.IntRange(0, 2000), default=0, help="Further analogue channels.")
@click.option("--truth", type=_PATH, default=None, help="Write what really goes wrong.")
@click.option("--ledger", type=_PATH, default=None, help="Write every published sample.")
@click.option("--trouble", type=_PATH, default=None, help="TOML file of troubles to make.")
@opcua_options
@mqtt_options
@click.option("--while-parent", is_flag=True, hidden=True, help="Stop when standard input is closed.")
def command(scenario: str | None, recording: Path | None, protocol: str | None, **options: Any) -> int:
    """Serve a scenario or a recording until stopped, or write a scenario out as fast as it goes."""
    set_up()
    if (scenario is None) == (recording is None):
        raise WrongInput("say one of SCENARIO and --from FILE")
    if recording is not None:
        return _play(recording, protocol, options)
    if options["keep_times"]:
        raise WrongInput("--keep-times is for recordings: a scenario's times begin with --begin")
    played = _scenario(str(scenario), options)
    to = options["to"]
    if (protocol is None) == (to is None):
        raise WrongInput("say one of --serve and --to FOLDER or FILE.parquet")
    if to is not None:
        return _write_out(played, to, options)
    feed = ScenarioFeed(
        played,
        start_s=options["start_at"],
        t0_ns=options["begin"],
        aux_channels=options["aux_channels"],
    )
    asyncio.run(_serve(feed, str(protocol), options, played))
    return 0


def _scenario(name: str, options: dict[str, Any]) -> Scenario:
    played = load_scenario(name)
    if options["variant"] is not None:
        played = named_variant(played, options["variant"])
    return played.without_faults() if options["without_faults"] else played


def _play(file: Path, protocol: str | None, options: dict[str, Any]) -> int:
    """Serve a recording until it ends or is stopped."""
    if protocol is None:
        raise WrongInput("say over what the recording is played: --serve opcua, mqtt or sparkplug")
    _refuse(options, _OF_SCENARIOS, "scenarios, not for recordings")
    with contextlib.closing(Playback(recording_at(file), keep_times=options["keep_times"])) as feed:
        asyncio.run(_serve(feed, protocol, options))
    return 0


def _write_out(scenario: Scenario, to: Path, options: dict[str, Any]) -> int:
    """Write the whole scenario into a file or a store, with the truth beside it."""
    begin_ns = options["begin"] if options["begin"] is not None else time.time_ns() // NS * NS
    if to.suffix.lower() == ".parquet":
        return _to_file(scenario, to, begin_ns, options)
    return _to_folder(scenario, to, begin_ns, options)


def _to_file(scenario: Scenario, file: Path, begin_ns: int, options: dict[str, Any]) -> int:
    """The file's truth and events come beside it."""
    samples = write_parquet(
        file, scenario, begin_ns, options["start_at"], aux_channels=options["aux_channels"]
    )
    if options["truth"] is not None:
        write_json(options["truth"], json.loads(file.with_suffix(".truth.json").read_text(encoding="utf-8")))
    click.echo(f"{samples} samples in {file}")
    return 0


def _to_folder(scenario: Scenario, folder: Path, begin_ns: int, options: dict[str, Any]) -> int:
    store = EmbeddedStore.open(folder)
    if store.span() is not None:
        store.close()
        raise WrongInput(f"{folder}: there is a store with samples here already; name a new folder")
    try:
        tags = store.register(published_tags(scenario, aux_channels=options["aux_channels"]))
        frames = batch(scenario, tags, begin_ns, options["start_at"], aux_channels=options["aux_channels"])
        samples = 0
        with click.progressbar(frames, label=scenario.name, file=sys.stderr) as progress:
            for frame in progress:
                store.append(frame)
                samples += len(frame)
        with contextlib.closing(Upkeep.open(folder, scenario.name, Keep())) as upkeep:
            upkeep.step(time.time_ns(), seal_all=True)
    finally:
        store.close()
    write_beside(options["truth"] or folder / "truth.json", folder / "events.json", scenario, begin_ns)
    click.echo(f"{samples} samples of {len(tags)} tags in {folder}")
    return 0


def _stop(options: dict[str, Any]) -> asyncio.Event:
    """What ends the serving: a signal, or the parent's end where that is asked for."""
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    if options["while_parent"]:
        loop.run_in_executor(None, lambda: (sys.stdin.read(), loop.call_soon_threadsafe(stop.set)))
    return stop


async def _serve(
    feed: Feed, protocol: str, options: dict[str, Any], scenario: Scenario | None = None
) -> None:
    """Serve until stopped; what really goes wrong in a scenario is written once its times are known."""
    if protocol != "opcua":
        _refuse(options, OF_OPCUA, "OPC UA")
    if protocol != "sparkplug":
        _refuse(options, OF_SPARKPLUG, "Sparkplug")
    stop = _stop(options)
    written: list[asyncio.Task[None]] = []

    def ready(serving: Serving) -> None:
        _tell(serving)
        if scenario is not None and options["truth"] is not None:
            written.append(_truth_beside(options["truth"], scenario, serving.t0_ns, stop))

    common = {
        "speed": options["speed"],
        "ledger": options["ledger"],
        "troubles": [] if options["trouble"] is None else load_troubles(options["trouble"]),
        "stop": stop,
        "ready": ready,
    }
    if protocol == "opcua":
        await server.serve(feed, **common, **opcua_arguments(options))
    else:
        await serve_mqtt(feed, protocol, options, **common)
    await asyncio.gather(*written)


def _truth_beside(file: Path, scenario: Scenario, t0_ns: int, stop: asyncio.Event) -> asyncio.Task[None]:
    """Write the truth on a thread of its own; where that fails, the serving stops and the task says why."""

    def done(task: asyncio.Task[None]) -> None:
        if not task.cancelled() and task.exception() is not None:
            stop.set()

    writing = asyncio.create_task(asyncio.to_thread(write_truth, file, scenario, t0_ns))
    writing.add_done_callback(done)
    return writing


def _refuse(options: dict[str, Any], names: tuple[str, ...], whose: str) -> None:
    """Refuse an option that would do nothing."""
    if useless := [name for name in names if options[name] not in (None, False, 0)]:
        raise WrongInput(f"--{useless[0].replace('_', '-')} is for {whose}")


def _tell(serving: Serving) -> None:
    """One line of JSON, for a person and for a program that waits for it."""
    told = {"endpoint": serving.endpoint, "t0_ns": serving.t0_ns, "start_s": serving.start_s}
    click.echo(json.dumps(told))
    sys.stdout.flush()
