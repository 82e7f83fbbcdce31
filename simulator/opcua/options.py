"""Options of a command line that make an OPC UA server more like a real machine's."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final, TypeVar

import click

from historian.errors import WrongInput
from simulator.opcua.companion import MISSING_SHARE, NAMES, CompanionSpace
from simulator.opcua.other_units import UNITS
from simulator.opcua.places import FlatSpace, Space
from simulator.opcua.security import Security

Verb = TypeVar("Verb", bound=Callable[..., Any])

ENDPOINT: Final = "opc.tcp://127.0.0.1:4840"
_PATH = click.Path(path_type=Path)
_SHARE = click.FloatRange(0.0, 1.0)
_OPTIONS = (
    click.option("--endpoint", default=ENDPOINT, show_default=True, help="OPC UA: address to serve at."),
    click.option("--history", is_flag=True, help="OPC UA: remember a day and answer HistoryRead."),
    click.option("--history-file", type=_PATH, default=None, help="OPC UA: the same, kept in this file."),
    click.option("--secure", type=_PATH, default=None, help="OPC UA: folder of certificates."),
    click.option("--users", type=_PATH, default=None, help="OPC UA: file of NAME:PASSWORD lines."),
    click.option("--alarms", is_flag=True, help="OPC UA: the machine's own alarm list."),
    click.option(
        "--units",
        type=click.Choice(UNITS),
        default=None,
        help="OPC UA: whose units. [flat: ours, companion: mixed]",
    ),
    click.option("--companion", type=_PATH, default=None, help="OPC UA: folder of OPC 40084 nodesets."),
    click.option(
        "--companion-names",
        type=click.Choice(NAMES),
        default=None,
        help="OPC UA: what its sensors are called.",
    ),
    click.option(
        "--companion-missing", type=_SHARE, default=None, help="OPC UA: share of its optional nodes to miss."
    ),
    click.option(
        "--draw", type=int, default=1, show_default=True, help="OPC UA: seed of names, order and units."
    ),
)
# What no other protocol has a use for.
OF_OPCUA: Final = (
    "history",
    "history_file",
    "secure",
    "users",
    "alarms",
    "units",
    "companion",
    "companion_names",
    "companion_missing",
)


def opcua_options(verb: Verb) -> Verb:
    """Gives a verb these options."""
    for option in reversed(_OPTIONS):
        verb = option(verb)
    return verb


def opcua_arguments(options: Mapping[str, Any]) -> dict[str, Any]:
    """The arguments of ``serve`` that the options say.

    Raises:
        WrongInput: a file or folder that cannot be used, or options that need another one.
    """
    if options["users"] is not None and options["secure"] is None:
        raise WrongInput("--users needs --secure: a password must not travel in the clear")
    return {
        "endpoint": options["endpoint"],
        "history": options["history"],
        "history_file": options["history_file"],
        "security": None if options["secure"] is None else _security(options["secure"], options["users"]),
        "alarms": options["alarms"],
        "space": _space(options),
    }


def _space(options: Mapping[str, Any]) -> Space:
    names, missing = options["companion_names"], options["companion_missing"]
    if options["companion"] is not None:
        return CompanionSpace(
            options["companion"],
            options["draw"],
            names=names,
            units=options["units"] or "mixed",
            missing=MISSING_SHARE if missing is None else missing,
        )
    if names is not None or missing is not None:
        raise WrongInput("--companion-names and --companion-missing need --companion FOLDER")
    return FlatSpace(options["units"] or "ours", options["draw"])


def _security(folder: Path, users: Path | None) -> Security:
    """With users, nobody comes in without a name."""
    return Security(folder) if users is None else Security(folder, users=_read_users(users), anonymous=False)


def _read_users(path: Path) -> dict[str, str]:
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise WrongInput(f"{path}: the users cannot be read ({error})") from error
    users = {}
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        name, colon, password = line.partition(":")
        if not colon or not name or not password:
            raise WrongInput(f"{path}:{number}: not NAME:PASSWORD")
        users[name] = password
    return users
