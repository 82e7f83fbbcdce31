"""``meltledger backtest`` over small stored trials, end to end."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from meltledger.backtesting import crew
from meltledger.cli import main
from tests.support.stored_trial import line_file, write_parquet, write_trial

OFF = '\n[[rule]]\nkind = "heater-power"\nenabled = false\n'


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A line's file, the same with a rule switched off, and a folder of two trials."""
    folder = tmp_path_factory.mktemp("backtest")
    line_file(folder / "line.toml")
    line_file(folder / "off.toml", more=OFF)
    write_trial(folder / "trials" / "burnt")
    write_trial(folder / "trials" / "whole", healthy=True)
    return folder


def run(*arguments: str | Path) -> int:
    with pytest.raises(SystemExit) as stopped:
        main(["backtest", *(str(a) for a in arguments)])
    return int(stopped.value.code or 0)


def as_json(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> Any:
    code = run(*arguments, "--json")
    return {**json.loads(capsys.readouterr().out), "code": code}


def test_what_was_found_is_told_to_people(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(place / "line.toml", "--over", place / "trials", "--spread", "turns") == 0
    out, err = capsys.readouterr()
    assert "2 trials, 1.3 h recorded" in out
    row = next(line for line in out.splitlines() if line.strip().startswith("B1 "))
    assert row.split()[:4] == ["B1", "1", "1", "0"]
    assert "heater-power 1" in row
    assert "had to stay quiet: 1, disturbed: 0" in out
    assert "judging trials" in err


def test_a_trial_gives_the_same_with_dask_with_processes_and_in_turn(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ways = [
        as_json(capsys, place / "line.toml", "--over", place / "trials", "--spread", way)
        for way in ("turns", "processes", "dask")
    ]
    assert ways[0] == ways[1] == ways[2]
    (burnt, whole) = ways[0]["trials"]
    (found,) = burnt["scores"][0]["found"]
    assert (found["outcome"], found["by"]["subject"]) == ("found", "filter.plate.5")
    assert 0 < found["lead_s"] <= 60
    assert whole["scores"][0]["healthy_s"] == whole["scores"][0]["recorded_s"] > 2300
    assert (burnt["error"], ways[0]["code"]) == (None, 0)


def test_a_scheduler_elsewhere_does_the_work(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from distributed import LocalCluster

    with LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address="127.0.0.1:0") as cluster:
        there = as_json(
            capsys, place / "line.toml", "--over", place / "trials", "--scheduler", cluster.scheduler_address
        )
    assert there["summaries"][0]["all"]["found"] == 1


def test_a_parquet_file_gives_the_same_find(
    place: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    file = write_parquet(tmp_path / "burnt.parquet", place / "trials" / "burnt")
    told = as_json(capsys, place / "line.toml", "--over", file)
    (found,) = told["trials"][0]["scores"][0]["found"]
    (stored,) = as_json(capsys, place / "line.toml", "--over", place / "trials" / "burnt")["trials"][0][
        "scores"
    ][0]["found"]
    assert found == stored


def test_two_versions_of_the_rules_are_compared(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    files = (place / "line.toml", "--beside", place / "off.toml", "--over", place / "trials" / "burnt")
    told = as_json(capsys, *files)
    assert [s["all"]["found"] for s in told["summaries"]] == [1, 0]
    assert told["trials"][0]["scores"][1]["found"][0]["judged"] is False
    run(*files)
    assert "side by side" in capsys.readouterr().out


def test_below_the_bar_it_exits_with_1(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    over = ("--over", place / "trials" / "burnt", "--least-found", "98")
    assert run(place / "line.toml", *over) == 0
    assert run(place / "off.toml", *over) == 1
    assert "no rule of this line judges it" in capsys.readouterr().out


def test_a_bar_over_trials_in_which_nothing_was_due_is_refused(
    place: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(place / "line.toml", "--over", place / "trials" / "whole", "--least-found", "98") == 2
    assert "no fault was due" in capsys.readouterr().err


def test_a_broken_trial_is_named_and_the_others_go_on(
    place: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    broken = tmp_path / "broken.parquet"
    broken.write_bytes(b"PAR1 is all that it has")
    spoilt = tmp_path / "spoilt"
    spoilt.mkdir()
    (spoilt / "recent.db").write_bytes(b"no database" * 100)
    trials = [broken, spoilt, tmp_path / "nowhere", place / "trials" / "burnt"]
    for way in ("turns", "processes"):
        told = as_json(capsys, place / "line.toml", "--over", *trials, "--spread", way)
        assert told["code"] == 1
        assert told["summaries"][0]["all"]["found"] == 1
        for trial, one in zip(trials[:3], told["trials"], strict=False):
            assert str(trial) in one["error"]
    run(place / "line.toml", "--over", *trials, "--spread", "turns")
    assert str(broken) in capsys.readouterr().err


def test_only_broken_trials_are_wrong_input(
    place: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert run(place / "line.toml", "--over", tmp_path / "nowhere") == 2
    assert "nowhere: there is no stored trial here" in capsys.readouterr().err


def test_a_wrong_truth_is_named_with_its_entry(
    place: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    folder = write_trial(tmp_path / "t", truth=False)
    (folder / "truth.json").write_text('[{"id": "a", "number": "B77"}]')
    assert run(place / "line.toml", "--over", folder) == 2
    assert "truth.json: entry 1 (a): number 'B77'" in capsys.readouterr().err


def test_without_truth_it_says_what_was_said(
    place: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    folder = write_trial(tmp_path / "t", truth=False)
    assert run(place / "line.toml", "--over", folder) == 0
    out = capsys.readouterr().out
    assert "No truth stands beside these trials" in out
    assert "1 medium" in out and "heater-power 1" in out
    assert "found in time" not in out


def test_dask_that_is_not_there_is_asked_for_by_name(
    place: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(crew, "has_dask", lambda: False)
    over = ("--over", place / "trials")
    assert crew.way_for(2, None, None) == "processes"
    assert run(place / "line.toml", *over, "--spread", "dask") == 2
    assert "meltledger[batch]" in capsys.readouterr().err
    assert run(place / "line.toml", *over, "--scheduler", "tcp://127.0.0.1:1") == 2


def test_a_scheduler_that_does_not_answer_is_the_outside_world(
    place: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(crew, "PATIENCE_S", 1)
    over = ("--over", place / "trials", "--scheduler", "tcp://127.0.0.1:9")
    assert run(place / "line.toml", *over) == 3
    assert "tcp://127.0.0.1:9" in capsys.readouterr().err


@pytest.fixture(scope="module")
def many(place: Path) -> list[Path]:
    """More trials than are judged in a moment."""
    return [write_trial(place / "many" / f"t{n}", healthy=True) for n in range(6)]


@pytest.mark.parametrize("way", ["dask", "processes", "turns"])
def test_an_interrupt_ends_it_and_leaves_no_process(place: Path, many: list[Path], way: str) -> None:
    over = ["--over", *map(str, many), "--spread", way, "--lot", "1"]
    arguments = ["backtest", str(place / "line.toml"), *over]
    started = subprocess.Popen(
        [sys.executable, "-m", "meltledger", *arguments],
        start_new_session=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    assert started.stderr is not None
    heard = started.stderr.read(8)  # the progress bar's label: work is under way
    assert heard.startswith(b"judging")
    time.sleep(0.5)
    os.killpg(started.pid, signal.SIGINT)
    _, err = started.communicate(timeout=60)
    assert started.returncode == 130, err.decode()
    assert b"Traceback" not in err
    with pytest.raises(ProcessLookupError):
        for _ in range(100):
            os.killpg(started.pid, 0)
            time.sleep(0.1)
