"""Options that make an OPC UA server more like a real machine's: what they mean to the server."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

from historian.errors import WrongInput
from simulator.opcua.companion import CompanionSpace
from simulator.opcua.options import ENDPOINT, OF_OPCUA, opcua_arguments, opcua_options
from simulator.opcua.places import FlatSpace
from simulator.opcua.security import Security


def _given(*options: str) -> dict[str, Any]:
    told: list[dict[str, Any]] = []

    @click.command()
    @opcua_options
    def verb(**given: Any) -> None:
        told.append(given)

    CliRunner().invoke(verb, options, catch_exceptions=False)
    return told[0]


def _arguments(*options: str) -> dict[str, Any]:
    return opcua_arguments(_given(*options))


def test_without_options_the_line_is_open_flat_and_forgetful() -> None:
    given = _arguments()
    assert isinstance(given.pop("space"), FlatSpace)
    assert given == {
        "endpoint": ENDPOINT, "history": False, "history_file": None, "security": None, "alarms": False,
    }  # fmt: skip
    assert not any(_given()[name] for name in OF_OPCUA)


def test_each_option_arrives(tmp_path: Path) -> None:
    (tmp_path / "users").write_text("reader:a:b\n\nother:c\n")
    given = _arguments(
        "--history", "--history-file", str(tmp_path / "h"), "--alarms", "--secure", str(tmp_path),
        "--users", str(tmp_path / "users"), "--companion", str(tmp_path), "--companion-names", "coded",
        "--endpoint", "opc.tcp://127.0.0.1:1",
    )  # fmt: skip
    assert (given["history"], given["history_file"], given["alarms"]) == (True, tmp_path / "h", True)
    users = {"reader": "a:b", "other": "c"}
    assert given["security"] == Security(tmp_path, users=users, anonymous=False)
    assert isinstance(given["space"], CompanionSpace)
    assert given["space"].names == "coded"
    assert given["endpoint"] == "opc.tcp://127.0.0.1:1"
    assert _arguments("--secure", str(tmp_path))["security"] == Security(tmp_path)


def test_what_makes_no_sense_is_told(tmp_path: Path) -> None:
    users = tmp_path / "users"
    users.write_text("reader:x\nnobody\n")
    with pytest.raises(WrongInput, match="needs --secure"):
        _arguments("--users", str(users))
    with pytest.raises(WrongInput, match="users:2: not NAME:PASSWORD"):
        _arguments("--secure", str(tmp_path), "--users", str(users))
    with pytest.raises(WrongInput, match="cannot be read"):
        _arguments("--secure", str(tmp_path), "--users", str(tmp_path / "none"))
    with pytest.raises(WrongInput, match="need --companion FOLDER"):
        _arguments("--companion-missing", "0.5")
