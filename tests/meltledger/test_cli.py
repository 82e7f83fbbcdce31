"""The command line: every verb explains itself; every outcome has its exit code."""

from __future__ import annotations

from pathlib import Path

import pytest

from meltledger.cli import _VERBS, main
from tests.meltledger.test_config import GOOD


def exit_code(*arguments: str) -> int:
    with pytest.raises(SystemExit) as caught:
        main(list(arguments))
    return int(caught.value.code or 0)


@pytest.mark.parametrize("verb", _VERBS)
def test_every_verb_explains_itself(verb: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code(verb, "--help") == 0
    assert "Usage: meltledger" in capsys.readouterr().out


def test_an_unknown_verb_is_wrong_use() -> None:
    assert exit_code("write-to-machine") == 2


def test_check_tells_a_good_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "line.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert exit_code("check", str(path)) == 0
    assert "no fault found; 3 tags from 1 source" in capsys.readouterr().out
    assert list(tmp_path.iterdir()) == [path], "check starts and makes nothing"


def test_check_tells_the_fault_with_file_and_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "line.toml"
    path.write_text(GOOD.replace("zone =", "zonne ="), encoding="utf-8")
    assert exit_code("check", str(path)) == 1
    assert f"{path}:3: line.zonne: this key is not known; the nearest is 'zone'" in capsys.readouterr().out


def test_run_refuses_a_wrong_file_with_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code("run", str(tmp_path / "none.toml")) == 2
    assert "there is no such file" in capsys.readouterr().err


def test_trials_are_opened_noted_and_closed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "line.toml"
    path.write_text(GOOD, encoding="utf-8")
    assert exit_code("trial", "note", str(path), "bale changed") == 2
    assert exit_code("trial", "new", str(path), "Flakes, lot 3", "--code-name", "heron") == 0
    assert exit_code("trial", "new", str(path), "Another") == 2
    assert exit_code("trial", "note", str(path), "bale changed") == 0
    assert exit_code("trial", "close", str(path)) == 0
    assert exit_code("trial", "list", str(path)) == 0
    assert "Flakes, lot 3: from" in capsys.readouterr().out
