"""``meltledger discover``: exit codes, messages, files that are there, and what is said where."""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from historian.errors import MeltledgerError, OutsideWorldAway, WrongInput
from meltledger.cli import FOUND, root
from meltledger.config import load
from simulator.opcua.security import Security
from tests.support.opcua_server import OpcUaServer, ServedTag
from tests.support.ports import free_port
from tests.support.served_line import Elsewhere, served_elsewhere
from tests.support.small_line import SmallLine


def discover(*arguments: str) -> Result:
    return CliRunner().invoke(root, ["discover", *arguments], standalone_mode=False)


@pytest.fixture(scope="module")
def line() -> Iterator[Elsewhere]:
    """A small simulated line."""
    with served_elsewhere(SmallLine(t0_ns=None)) as served:
        yield served


def test_a_draft_is_printed_and_what_was_found_is_said_apart(line: Elsewhere, tmp_path: Path) -> None:
    done = discover(line.serving.endpoint, "--name", "pilot-3", "--zone", "Europe/Madrid")
    assert done.return_value == 0
    file = tmp_path / "line.toml"
    file.write_text(done.stdout, encoding="utf-8")
    config = load(file)
    assert (config.facts.name, config.simulated) == ("pilot-3", True)
    assert "to be confirmed, kept under neutral names: 10" in done.stderr
    assert "machines: none that says by its type what it is" in done.stderr


def test_a_file_that_is_there_is_not_written_over_unless_forced(line: Elsewhere, tmp_path: Path) -> None:
    file = tmp_path / "line.toml"
    file.write_text("mine", encoding="utf-8")
    done = discover(line.serving.endpoint, "--output", str(file))
    assert isinstance(done.exception, WrongInput) and "--force" in str(done.exception)
    assert file.read_text() == "mine"
    done = discover(line.serving.endpoint, "--output", str(file), "--force")
    assert done.return_value == 0 and f"next: meltledger check {file}" in done.stdout
    assert len(load(file).tags) == 10


def test_machine_output_tells_every_finding(line: Elsewhere) -> None:
    told = json.loads(discover(line.serving.endpoint, "--json").stdout)
    assert told["simulated"] is True and told["file"] is None
    inlet = next(f for f in told["confirm"] if f["becomes"] == "filter.inlet.pressure.pv")
    assert inlet["tag"] == "found.simulated_line.filter_inlet_pressure_pv"
    assert (inlet["unit"], inlet["confidence"]) == ("bar", "high")
    assert set(told) >= {"mapped", "confirm", "ambiguous", "unknown", "machines", "left_out"}


def test_an_endpoint_that_is_away_is_told_with_a_remedy() -> None:
    done = discover(f"opc.tcp://127.0.0.1:{free_port()}")
    assert isinstance(done.exception, OutsideWorldAway)
    assert "nothing listens there" in str(done.exception) and "Remedy" in str(done.exception)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["http://x"], "begins with one of opc.tcp://"),
        (["plc"], "not an address"),
        (["mqtt://broker:1883"], "brokers are not looked at"),
        (["opc.tcp://me:secret@x:4840"], "no user or password here"),
        (["opc.tcp://x:4840", "--security", "Best"], "--security"),
        (["opc.tcp://x:4840", "--user", "me"], "a user needs a password"),
        (["opc.tcp://x:4840", "--name", "No Such Name"], "--name"),
        (["opc.tcp://x:4840", "--zone", "Mars/Olympus"], "--zone"),
        (["opc.tcp://x:4840", "--trust", "0123456789abcdef"], "no certificate waits"),
    ],
)
def test_wrong_use_is_told_before_anything_is_asked(
    arguments: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = discover(*arguments)
    assert isinstance(done.exception, MeltledgerError) and said in str(done.exception)
    assert "secret" not in str(done.exception)
    assert list(tmp_path.iterdir()) == []


async def test_a_server_of_which_nothing_is_understood_is_one(tmp_path: Path) -> None:
    server = OpcUaServer(tmp_path, {"HM0815": ServedTag(1.0), "Recipe": ServedTag("LDPE")})
    await server.start()
    try:
        done = await asyncio.to_thread(discover, server.endpoint)
    finally:
        server.kill()
    assert done.return_value == FOUND
    assert "no tag is kept yet" in done.stderr
    assert '# "found.machine.hm0815"' in done.stdout and "Recipe" not in done.stdout


def test_a_secured_server_is_looked_at_once_its_certificate_is_accepted(tmp_path: Path) -> None:
    security = Security(tmp_path / "server", users={"op": "geheim"}, anonymous=False)
    file, password = tmp_path / "line.toml", tmp_path / "password"
    password.write_text("geheim")
    password.chmod(0o600)
    with served_elsewhere(SmallLine(t0_ns=None), security=security) as served:
        arguments = [
            served.serving.endpoint,
            "--output",
            str(file),
            "--security",
            "Basic256Sha256/SignAndEncrypt",
        ]
        arguments += ["--user", "op", "--password-file", "password"]
        refused = discover(*arguments)
        assert isinstance(refused.exception, WrongInput) and "--trust" in str(refused.exception)
        print_ = re.search(r"--trust ([0-9a-f]{16})", str(refused.exception))
        assert print_ is not None, str(refused.exception)
        second = discover(*arguments, "--trust", print_[1])
        # The server has to accept ours in its turn.
        assert isinstance(second.exception, WrongInput) and "own certificate" in str(second.exception)
        own = tmp_path / "pki" / "own" / "certificate.der"
        (security.trusted / "ours.der").write_bytes(own.read_bytes())
        third = discover(*arguments)
        assert third.return_value == 0, third.exception
    text = file.read_text()
    assert 'security = "Basic256Sha256/SignAndEncrypt"' in text and 'password_file = "password"' in text
    assert "geheim" not in text + third.output
    assert len(load(file).tags) == 10
