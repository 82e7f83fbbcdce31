"""The units that start a line by itself after a power cut."""

from __future__ import annotations

import configparser
import shutil
import subprocess
from pathlib import Path

import pytest

from meltledger.cli import _VERBS

UNITS = sorted((Path(__file__).parents[1] / "deploy" / "systemd").glob("*.service"))


def read(unit: Path) -> configparser.ConfigParser:
    parser = configparser.ConfigParser(interpolation=None, strict=True)
    parser.optionxform = str  # type: ignore[assignment,method-assign]
    parser.read_string(unit.read_text(encoding="utf-8"))
    return parser


def test_there_is_a_unit_for_each_of_the_two_processes() -> None:
    assert [u.name for u in UNITS] == ["meltledger-run@.service", "meltledger-serve@.service"]


@pytest.mark.parametrize("unit", UNITS, ids=lambda u: u.name)
def test_a_unit_starts_at_boot_and_never_gives_up(unit: Path) -> None:
    parsed = read(unit)
    assert parsed["Install"]["WantedBy"] == "multi-user.target"
    assert parsed["Service"]["Restart"] == "always"
    assert parsed["Unit"]["StartLimitIntervalSec"] == "0"
    program, verb, file = parsed["Service"]["ExecStart"].split()
    assert program.endswith("/meltledger")
    assert verb in _VERBS
    assert file == "/etc/meltledger/%i.toml"


@pytest.mark.parametrize("unit", UNITS, ids=lambda u: u.name)
def test_a_unit_has_few_rights(unit: Path) -> None:
    service = read(unit)["Service"]
    assert service["User"] != "root"
    assert service["NoNewPrivileges"] == "true"
    assert service["ProtectSystem"] == "strict"
    assert service["UMask"] == "0077"


@pytest.mark.parametrize("unit", UNITS, ids=lambda u: u.name)
def test_systemd_finds_little_that_an_intruder_could_use(unit: Path) -> None:
    program = shutil.which("systemd-analyze")
    if program is None:
        return  # as below
    command = [program, "security", "--offline=true", "--threshold=20", str(unit)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout.splitlines()[-1]


def test_a_changed_file_is_read_without_a_restart() -> None:
    run = next(u for u in UNITS if "run@" in u.name)
    assert read(run)["Service"]["ExecReload"] == "/bin/kill -HUP $MAINPID"


@pytest.mark.parametrize("unit", UNITS, ids=lambda u: u.name)
def test_systemd_reads_the_unit(unit: Path) -> None:
    program = shutil.which("systemd-analyze")
    if program is None:
        return  # the other tests hold what matters; this one adds systemd's own word where it is there
    done = subprocess.run([program, "verify", str(unit)], capture_output=True, text=True, check=False)
    lines = [line for line in done.stderr.splitlines() if unit.name.split("@")[0] in line]
    # The program is not installed here, and that is all that may be wrong.
    assert [line for line in lines if "is not executable" not in line] == []
