"""Options that make the served line more like a real machine: what they mean to the server."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner

from historian.errors import WrongInput
from simulator.opcua.companion import CompanionSpace
from simulator.opcua.options import machine_arguments, machine_options
from simulator.opcua.security import Security
from simulator.opcua.trouble import Trouble


def _arguments(*options: str) -> dict[str, Any]:
    told: list[dict[str, Any]] = []

    @click.command()
    @machine_options
    def verb(**given: Any) -> None:
        told.append(machine_arguments(given))

    CliRunner().invoke(verb, options, catch_exceptions=False)
    return told[0]


def test_without_options_the_line_is_served_as_ever() -> None:
    assert _arguments() == {
        "history": False, "history_file": None, "security": None, "alarms": False, "space": None, "troubles": [],
    }  # fmt: skip


def test_each_option_arrives(tmp_path: Path) -> None:
    (tmp_path / "users").write_text("reader:a:b\n\nother:c\n")
    (tmp_path / "t.toml").write_text('[[trouble]]\nat_s = 5.0\ndo = "drop"\n')
    given = _arguments(
        "--history", "--history-file", str(tmp_path / "h"), "--alarms", "--secure", str(tmp_path),
        "--users", str(tmp_path / "users"), "--companion", str(tmp_path), "--trouble", str(tmp_path / "t.toml"),
    )  # fmt: skip
    assert (given["history"], given["history_file"], given["alarms"]) == (True, tmp_path / "h", True)
    users = {"reader": "a:b", "other": "c"}
    assert given["security"] == Security(tmp_path, users=users, anonymous=False)
    assert isinstance(given["space"], CompanionSpace)
    assert given["troubles"] == [Trouble(5.0, "drop")]
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
