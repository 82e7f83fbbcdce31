"""``meltledger simulate``: run the simulated line or play a recording, served or into a store's folder."""

from __future__ import annotations

import asyncio
import contextlib
import importlib
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
from meltledger.logs import set_up
from simulator.broker import Broker, broker_at
from simulator.feed import Feed, ScenarioFeed
from simulator.opcua import server
from simulator.opcua.feed_server import serve_feed
from simulator.opcua.options import machine_arguments, machine_options
from simulator.playback import Playback, recording_at
from simulator.run import batch, published_tags, write_truth
from simulator.scenario import Scenario
from simulator.scenario_file import load_scenario
from simulator.serving import Serving

_ENDPOINT = "opc.tcp://127.0.0.1:4840"
_BROKER = "mqtt://127.0.0.1:1883"
# What a recording has no use for.
_OF_SCENARIOS = ("start_at", "begin", "to", "truth", "aux_channels", "without_faults")

# What only a scenario's OPC UA server has.
_OF_MACHINES = ("history", "history_file", "secure", "users", "alarms", "companion", "trouble")


@click.command(
    "simulate",
    help="Run a scenario of the simulated line (SCENARIO is a name or a TOML file), or play a recording.",
)
@click.argument("scenario", required=False)
@click.option(
    "--from",
    "recording",
    type=click.Path(path_type=Path),
    default=None,
    help="Play a store's folder or a CSV file (wide or long) instead.",
)
@click.option("--keep-times", is_flag=True, help="Play a recording under its own times, not moved to now.")
@click.option(
    "--serve",
    "protocol",
    type=click.Choice(["opcua", "mqtt", "sparkplug"]),
    default=None,
    help="Serve it over this protocol.",
)
@click.option("--endpoint", default=_ENDPOINT, show_default=True, help="OPC UA: address to serve at.")
@click.option(
    "--broker", default=_BROKER, show_default=True, help="MQTT: mqtt://[USER@]HOST, mqtts:// for TLS."
)
@click.option(
    "--password-file", type=click.Path(path_type=Path), default=None, help="MQTT: holds the password."
)
@click.option(
    "--ca-file", type=click.Path(path_type=Path), default=None, help="MQTT: to check the broker with."
)
@click.option(
    "--mqtt-version",
    type=click.Choice(["3.1.1", "5"]),
    default="3.1.1",
    show_default=True,
    help="MQTT: version of the protocol.",
)
@click.option("--qos", type=click.IntRange(0, 1), default=1, show_default=True, help="MQTT JSON: delivery.")
@click.option("--topic", default="meltledger/line", show_default=True, help="MQTT JSON: start of the topics.")
@click.option("--batch", is_flag=True, help="MQTT JSON: one message a second, not one a tag.")
@click.option(
    "--times", type=click.Choice(["iso", "ms"]), default="iso", show_default=True, help="MQTT JSON."
)
@click.option("--group", default="meltledger", show_default=True, help="Sparkplug: group id.")
@click.option("--edge-node", default="line", show_default=True, help="Sparkplug: edge node id.")
@click.option(
    "--speed",
    type=click.FloatRange(0, min_open=True),
    default=1.0,
    show_default=True,
    help="Times real time: 1 to 20 for a scenario.",
)
@click.option("--start-at", type=click.IntRange(0), default=0, show_default=True, help="Scenario second.")
@click.option("--begin", type=int, default=None, help="Time of second 0, UTC nanoseconds [default: now]")
@click.option("--to", type=click.Path(path_type=Path), default=None, help="Write a store into this folder.")
@click.option("--truth", type=click.Path(path_type=Path), default=None, help="Write what really goes wrong.")
@click.option("--ledger", type=click.Path(path_type=Path), default=None, help="Write every published sample.")
@click.option("--aux-channels", type=click.IntRange(0, 2000), default=0, help="Further analogue channels.")
@click.option("--without-faults", is_flag=True, help="The same scenario with nothing going wrong.")
@machine_options
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
    played = load_scenario(str(scenario))
    if options["without_faults"]:
        played = played.without_faults()
    to = options["to"]
    if (protocol is None) == (to is None):
        raise WrongInput("say one of --serve and --to FOLDER")
    if to is not None:
        return _to_folder(played, to, options)
    if protocol == "opcua":
        asyncio.run(_serve_scenario(played, options))
        return 0
    feed = ScenarioFeed(
        played,
        start_s=options["start_at"],
        t0_ns=options["begin"],
        aux_channels=options["aux_channels"],
    )
    asyncio.run(_serve_feed(feed, str(protocol), options))
    return 0


def _play(file: Path, protocol: str | None, options: dict[str, Any]) -> int:
    """Serve a recording until it ends or is stopped."""
    if protocol is None:
        raise WrongInput("say over what the recording is played: --serve opcua, mqtt or sparkplug")
    if useless := [name for name in _OF_SCENARIOS if options[name]]:
        raise WrongInput(f"--{useless[0].replace('_', '-')} is for scenarios, not for recordings")
    with contextlib.closing(Playback(recording_at(file), keep_times=options["keep_times"])) as feed:
        asyncio.run(_serve_feed(feed, protocol, options))
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


def _stop(options: dict[str, Any]) -> asyncio.Event:
    """What ends the serving: a signal, or the parent's end where that is asked for."""
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    if options["while_parent"]:
        loop.run_in_executor(None, lambda: (sys.stdin.read(), loop.call_soon_threadsafe(stop.set)))
    return stop


async def _serve_feed(feed: Feed, protocol: str, options: dict[str, Any]) -> None:
    if useless := [name for name in _OF_MACHINES if options[name]]:
        raise WrongInput(f"--{useless[0].replace('_', '-')} is for a scenario that is served over OPC UA")
    common = {"speed": options["speed"], "ledger": options["ledger"], "stop": _stop(options), "ready": _tell}
    if protocol == "opcua":
        await serve_feed(feed, endpoint=options["endpoint"], **common)
    elif protocol == "mqtt":
        json_messages = _optional("simulator.mqtt_json")
        form = json_messages.Form(
            feed.tags, options["topic"], options["batch"], options["times"], options["qos"]
        )
        await json_messages.serve_json(feed, _broker(options), form, **common)
    else:
        await _optional("simulator.sparkplug_edge").serve_sparkplug(
            feed, _broker(options), group=options["group"], edge_node=options["edge_node"], **common
        )


def _broker(options: dict[str, Any]) -> Broker:
    return broker_at(
        options["broker"],
        password_file=options["password_file"],
        ca_file=options["ca_file"],
        version=options["mqtt_version"],
    )


def _optional(module: str) -> Any:
    """A module whose libraries are an extra of the package."""
    try:
        return importlib.import_module(module)
    except ModuleNotFoundError as error:
        raise WrongInput(f"{error.name} is not installed; install the extra: meltledger[mqtt]") from error


async def _serve_scenario(scenario: Scenario, options: dict[str, Any]) -> None:
    await server.serve(
        scenario,
        endpoint=options["endpoint"],
        speed=options["speed"],
        start_s=options["start_at"],
        t0_ns=options["begin"],
        aux_channels=options["aux_channels"],
        ledger=options["ledger"],
        stop=_stop(options),
        ready=_tell,
        **machine_arguments(options),
    )


def _tell(serving: Serving | server.Serving) -> None:
    """One line of JSON, for a person and for a program that waits for it."""
    told = {"endpoint": serving.endpoint, "t0_ns": serving.t0_ns, "start_s": serving.start_s}
    click.echo(json.dumps(told))
    sys.stdout.flush()
