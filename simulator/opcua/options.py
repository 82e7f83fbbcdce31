"""Options of a command line that make the served line more like a real machine."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from historian.errors import WrongInput
from simulator.opcua.companion import CompanionSpace
from simulator.opcua.security import Security
from simulator.opcua.trouble import load_troubles

Verb = TypeVar("Verb", bound=Callable[..., Any])

_PATH = click.Path(path_type=Path)
_OPTIONS = (
    click.option("--history", is_flag=True, help="OPC UA: remember a day and answer HistoryRead."),
    click.option("--history-file", type=_PATH, default=None, help="OPC UA: the same, kept in this file."),
    click.option("--secure", type=_PATH, default=None, help="OPC UA: folder of certificates."),
    click.option("--users", type=_PATH, default=None, help="OPC UA: file of NAME:PASSWORD lines."),
    click.option("--alarms", is_flag=True, help="OPC UA: the machine's own alarm list."),
    click.option("--companion", type=_PATH, default=None, help="OPC UA: folder of OPC 40084 nodesets."),
    click.option("--companion-seed", type=int, default=1, show_default=True, help="OPC UA: draws its names."),
    click.option("--trouble", type=_PATH, default=None, help="OPC UA: TOML file of troubles to make."),
)  # fmt: skip


def machine_options(verb: Verb) -> Verb:
    """Gives a verb these options."""
    for option in reversed(_OPTIONS):
        verb = option(verb)
    return verb


def machine_arguments(options: dict[str, Any]) -> dict[str, Any]:
    """The arguments of ``serve`` that the options say.

    Raises:
        WrongInput: a file or folder that cannot be used, or users without security.
    """
    if options["users"] is not None and options["secure"] is None:
        raise WrongInput("--users needs --secure: a password must not travel in the clear")
    companion = options["companion"]
    return {
        "history": options["history"],
        "history_file": options["history_file"],
        "security": None if options["secure"] is None else _security(options["secure"], options["users"]),
        "alarms": options["alarms"],
        "space": None if companion is None else CompanionSpace(companion, options["companion_seed"]),
        "troubles": [] if options["trouble"] is None else load_troubles(options["trouble"]),
    }


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
