"""``meltledger calibration``: what is to be checked, and a check more, from the command line."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from meltledger.config import load
from meltledger.register import load_register
from tests.meltledger.test_cli import exit_code
from tests.meltledger.test_config import GOOD as FILE
from tests.meltledger.test_register import SENSORS

TODAY = datetime.now(UTC).date()


@pytest.fixture
def line(tmp_path: Path) -> Path:
    path = tmp_path / "line.toml"
    path.write_text(FILE, encoding="utf-8")
    return path


def checked(line: Path, days_ago: int) -> None:
    day = TODAY - timedelta(days=days_ago)
    text = SENSORS.replace("2025-03-01", day.isoformat())
    (line.parent / "sensors.toml").write_text(text, encoding="utf-8")


@pytest.mark.parametrize(
    ("days_ago", "standing", "code"), [(10, "checked", 0), (350, "due", 0), (400, "overdue", 1)]
)
def test_it_tells_what_is_due(
    line: Path, days_ago: int, standing: str, code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    checked(line, days_ago)
    assert exit_code("calibration", str(line)) == code
    said = capsys.readouterr().out
    assert said.startswith(f"{standing}: filter.inlet.pressure.pv, sensor MP-1, due 20")
    assert "1 sensor" in said


def test_it_tells_what_was_never_checked_to_machines_too(
    line: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (line.parent / "sensors.toml").write_text(SENSORS.split("[[check]]")[0], encoding="utf-8")
    assert exit_code("calibration", "--json", str(line)) == 1
    body = json.loads(capsys.readouterr().out)
    (row,) = body["sensors"]
    assert (row["standing"], row["due"], row["last"], row["checks"]) == ("never checked", None, None, 0)


def test_a_sensor_that_was_replaced_is_not_asked_for(line: Path, capsys: pytest.CaptureFixture[str]) -> None:
    checked(line, 400)
    later = SENSORS.split("[[check]]")[0].replace("MP-1", "MP-2") + f"fitted = {TODAY - timedelta(days=2)}\n"
    with (line.parent / "sensors.toml").open("a", encoding="utf-8") as file:
        file.write(
            f"\n{later}\n[[check]]\nserial = 'MP-2'\ndate = {TODAY - timedelta(days=3)}\nby = 'x'\n"
            "as_found = [[0, 0], [100, 100]]\n"
        )
    assert exit_code("calibration", str(line)) == 0
    said = capsys.readouterr().out
    assert "MP-2" in said and "MP-1" not in said


def test_without_a_register_it_says_what_is_assumed(line: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code("calibration", str(line)) == 0
    said = capsys.readouterr().out
    assert "a default accuracy is assumed: 1 tag, such as filter.inlet.pressure.pv" in said
    assert "0 sensors" in said


def test_a_check_is_added(line: Path, capsys: pytest.CaptureFixture[str]) -> None:
    checked(line, 400)
    code = exit_code(
        "calibration", str(line), "add", "filter.inlet.pressure.pv", "--by", "workshop", "--unit", "MPa",
        "--found", "0:0.2", "--found", "20:20.4", "--left", "0:0.01", "--left", "20:20.02",
        "--zero", "2 bar", "--reference", "0.1 bar", "--certificate", "C-2",
    )  # fmt: skip
    assert code == 0 and "check of MP-1 at filter.inlet.pressure.pv" in capsys.readouterr().out
    register = load_register(load(line))
    assert len(register.checks) == 2 and register.checks[-1].certificate == "C-2"
    assert register.checks[-1].as_found[1].reading == pytest.approx(204.0)
    assert exit_code("calibration", str(line)) == 0


@pytest.mark.parametrize(
    ("tag", "more", "said"),
    [
        ("filter.inlet.pressure.pv", ["--found", "0;1"], "REFERENCE:READING"),
        ("filter.inlet.pressure.pv", ["--zero", "1 bar", "--date", "yesterday"], "write the day as"),
        ("filter.inlet.pressure.pv", ["--zero", "1 bar", "--date", "2999-01-01"], "still to come"),
        ("filter.inlet.pressure.pv", [], "at least one of as_found"),
        ("filter.inlet.pressure.pv", ["--zero", "1 K"], "do not measure"),
        ("filter.inlet.pressure.pv", ["--zero", "1 bar", "--serial", "MP-9"], "serial number 'MP-9'"),
        ("filter.outlet.pressure.pv", ["--zero", "1 bar"], "describe it there"),
    ],
)
def test_a_wrong_check_is_told_and_not_added(
    line: Path, tag: str, more: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    checked(line, 400)
    before = (line.parent / "sensors.toml").read_bytes()
    assert exit_code("calibration", str(line), "add", tag, "--by", "workshop", *more) == 2
    assert said in capsys.readouterr().err
    assert (line.parent / "sensors.toml").read_bytes() == before


def test_check_finds_the_registers_faults_too(line: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = line.parent / "sensors.toml"
    path.write_text(SENSORS.replace("accuracy", "acuracy"), encoding="utf-8")
    assert exit_code("check", str(line)) == 1
    assert f"{path}:7: sensor.1.acuracy: " in capsys.readouterr().out
    assert exit_code("check", "--json", str(line)) == 1
    told = json.loads(capsys.readouterr().out)
    assert {t["file"] for t in told} == {str(path)}
