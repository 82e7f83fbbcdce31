"""Options of a command line for what is published to an MQTT broker, as JSON or as Sparkplug B."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final, TypeVar

import click

from historian.errors import WrongInput
from simulator.serving.broker import broker_at
from simulator.serving.feed import Feed

Verb = TypeVar("Verb", bound=Callable[..., Any])

BROKER: Final = "mqtt://127.0.0.1:1883"
_PATH = click.Path(path_type=Path)
_OPTIONS = (
    click.option(
        "--broker", default=BROKER, show_default=True, help="MQTT: mqtt://[USER@]HOST, mqtts:// for TLS."
    ),
    click.option("--password-file", type=_PATH, default=None, help="MQTT: holds the password."),
    click.option("--ca-file", type=_PATH, default=None, help="MQTT: to check the broker with."),
    click.option(
        "--mqtt-version",
        type=click.Choice(["3.1.1", "5"]),
        default="3.1.1",
        show_default=True,
        help="MQTT: version of the protocol.",
    ),
    click.option(
        "--qos", type=click.IntRange(0, 1), default=1, show_default=True, help="MQTT JSON: delivery."
    ),
    click.option(
        "--topic", default="meltledger/line", show_default=True, help="MQTT JSON: start of the topics."
    ),
    click.option("--batch", is_flag=True, help="MQTT JSON: one message a second, not one a tag."),
    click.option(
        "--times", type=click.Choice(["iso", "ms"]), default="iso", show_default=True, help="MQTT JSON."
    ),
    click.option("--group", default="meltledger", show_default=True, help="Sparkplug: group id."),
    click.option("--edge-node", default="line", show_default=True, help="Sparkplug: edge node id."),
    click.option("--primary-host", default=None, help="Sparkplug: publish only while this host is online."),
    click.option("--bd-seq-file", type=_PATH, default=None, help="Sparkplug: keeps bdSeq over restarts."),
)
OF_SPARKPLUG: Final = ("primary_host", "bd_seq_file")


def mqtt_options(verb: Verb) -> Verb:
    """Gives a verb these options."""
    for option in reversed(_OPTIONS):
        verb = option(verb)
    return verb


async def serve_mqtt(feed: Feed, protocol: str, options: Mapping[str, Any], **common: Any) -> None:
    """Publish a feed as the options say.

    Args:
        protocol: ``mqtt`` or ``sparkplug``.
        common: further arguments of ``serve_session``.

    Raises:
        WrongInput: options that cannot be, or libraries that are not installed.
    """
    broker = broker_at(
        options["broker"],
        password_file=options["password_file"],
        ca_file=options["ca_file"],
        version=options["mqtt_version"],
    )
    if protocol == "sparkplug":
        await _optional("simulator.sparkplug_edge").serve_sparkplug(
            feed,
            broker,
            group=options["group"],
            edge_node=options["edge_node"],
            primary_host=options["primary_host"],
            bd_seq_file=options["bd_seq_file"],
            **common,
        )
        return
    json_messages = _optional("simulator.mqtt_json")
    form = json_messages.Form(feed.tags, options["topic"], options["batch"], options["times"], options["qos"])
    await json_messages.serve_json(feed, broker, form, **common)


def _optional(module: str) -> Any:
    """A module whose libraries are an extra of the package."""
    try:
        return importlib.import_module(module)
    except ModuleNotFoundError as error:
        raise WrongInput(f"{error.name} is not installed; install the extra: meltledger[mqtt]") from error
