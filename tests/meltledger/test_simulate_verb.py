"""``meltledger simulate`` plays recordings and scenarios, and says what it cannot do."""

from __future__ import annotations

import json
import math
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
import structlog

from historian.frame import NS
from historian.tags import TagKind
from meltledger.cli import main
from simulator.recorded.parquet_file import read_parquet
from simulator.recorded.playback import FileRecording, Playback
from tests.support.cold_line import COLD_LINE
from tests.support.mosquitto import Mosquitto
from tests.support.ports import free_port
from tests.support.recordings import ROWS, T0_NS, long_in, played


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path / "broker") as broker:
        yield broker


@pytest.fixture
def own_log() -> Iterator[None]:
    """The verb sends the log to this test's standard error, which later ones do not have."""
    yield
    structlog.reset_defaults()


def exit_code(*arguments: str) -> int:
    with pytest.raises(SystemExit) as caught:
        main(["simulate", *arguments])
    return int(caught.value.code or 0)


@pytest.mark.usefixtures("own_log")
@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        ([], "say one of SCENARIO and --from FILE"),
        (["trial_day", "--from", "x"], "say one of SCENARIO and --from FILE"),
        (["--from", "x"], "say over what the recording is played"),
        (["--from", "x", "--serve", "mqtt", "--start-at", "5"], "--start-at is for scenarios"),
        (["--from", "none.csv", "--serve", "mqtt"], "none.csv: the file cannot be read"),
        (["trial_day"], "say one of --serve and --to FOLDER or FILE.parquet"),
        (["trial_day", "--serve", "mqtt", "--keep-times"], "--keep-times is for recordings"),
        (["trial_day", "--serve", "mqtt", "--secure", "x"], "--secure is for OPC UA"),
        (["trial_day", "--serve", "mqtt", "--bd-seq-file", "x"], "--bd-seq-file is for Sparkplug"),
        (["trial_day", "--serve", "mqtt", "--trouble", "x"], "x: cannot be read as a file of troubles"),
        (["trial_day", "--serve", "mqtt", "--variant", "x"], "'x' names no variant"),
        (["--from", "x", "--serve", "mqtt", "--variant", "faulty:1"], "--variant is for scenarios"),
        (["--from", "none.parquet", "--serve", "mqtt"], "none.parquet: the file cannot be read"),
        (["trial_day", "--serve", "mqtt", "--broker", "x"], "write mqtt://HOST:1883"),
        (["trial_day", "--serve", "mqtt", "--speed", "50"], "1 to 20 times real time"),
        (["trial_day", "--serve", "sparkplug", "--group", "a/b"], "the Sparkplug group is a word"),
    ],
)
def test_wrong_use_is_told(
    arguments: list[str],
    reason: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert exit_code(*arguments) == 2
    assert reason in capsys.readouterr().err


@pytest.mark.broker
@pytest.mark.usefixtures("own_log")
@pytest.mark.parametrize("protocol", ["mqtt", "sparkplug", "opcua"])
def test_the_verb_plays_a_file_to_its_end(
    protocol: str, mosquitto: Mosquitto, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ledger = tmp_path / "ledger.csv"
    file = long_in(tmp_path / "rows.csv", ROWS)
    where = [
        "--broker",
        f"mqtt://127.0.0.1:{mosquitto.port}",
        "--endpoint",
        f"opc.tcp://127.0.0.1:{free_port()}",
    ]
    how = ["--speed", "200", "--keep-times", "--ledger", str(ledger)]
    assert exit_code("--from", str(file), "--serve", protocol, *where, *how) == 0
    assert json.loads(capsys.readouterr().out.splitlines()[0])["t0_ns"] == T0_NS
    with closing(Playback(FileRecording(ledger), keep_times=True)) as again:
        again.begin(0)
        assert sorted(played(again), key=str) == sorted(ROWS, key=str)


@pytest.mark.broker
@pytest.mark.usefixtures("own_log")
def test_a_file_that_a_scenario_was_written_to_is_played_again_whole(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    scenario, file, ledger = tmp_path / "short.toml", tmp_path / "short.parquet", tmp_path / "ledger.csv"
    scenario.write_text(COLD_LINE, encoding="utf-8")
    assert exit_code(str(scenario), "--to", str(file), "--begin", str(T0_NS), "--variant", "healthy:2") == 0
    assert json.loads((tmp_path / "short.truth.json").read_text(encoding="utf-8")) == []
    assert (tmp_path / "short.events.json").exists()
    where = f"mqtt://127.0.0.1:{mosquitto.port}"
    how = ["--batch", "--speed", "500", "--keep-times", "--ledger", str(ledger)]
    assert exit_code("--from", str(file), "--serve", "mqtt", "--broker", where, *how) == 0
    tags, samples = read_parquet(file)
    assert len(tags) > 100 and {t.kind for t in tags} == set(TagKind)
    written = zip(
        *(c.tolist() for c in (samples.column, samples.time_ns, samples.value, samples.quality)), strict=True
    )
    with closing(Playback(FileRecording(ledger), keep_times=True)) as again:
        again.begin(0)
        assert sorted(played(again), key=str) == sorted(
            ((tags[c].path, t, None if math.isnan(v) else v, q) for c, t, v, q in written), key=str
        )


FAULT = """
[[fault]]
id = "probe"
fault = "clock_ahead"
source = "line"
onset = "10 s"
"""


def served_with_truth(scenario: Path, truth: Path) -> list[str]:
    endpoint = f"opc.tcp://127.0.0.1:{free_port()}"
    serving = ["--serve", "opcua", "--endpoint", endpoint, "--truth", str(truth)]
    return [sys.executable, "-m", "meltledger", "simulate", str(scenario), *serving]


def test_the_truth_of_what_is_served_is_written_beside(tmp_path: Path) -> None:
    scenario, truth = tmp_path / "cold.toml", tmp_path / "truth.json"
    scenario.write_text(COLD_LINE + FAULT, encoding="utf-8")
    with subprocess.Popen(served_with_truth(scenario, truth), stdout=subprocess.PIPE, text=True) as line:
        assert line.stdout is not None
        told = json.loads(line.stdout.readline())
        end = time.monotonic() + 60.0
        while not truth.exists() and time.monotonic() < end:
            time.sleep(0.05)
        assert line.poll() is None, "it goes on serving"
        line.send_signal(signal.SIGTERM)
        assert line.wait(timeout=30) == 0
    (entry,) = json.loads(truth.read_text(encoding="utf-8"))
    assert (entry["id"], entry["onset_ns"]) == ("probe", told["t0_ns"] + 10 * NS)


def test_a_truth_that_cannot_be_written_ends_the_serving(tmp_path: Path) -> None:
    scenario, truth = tmp_path / "cold.toml", tmp_path / "nowhere" / "truth.json"
    scenario.write_text(COLD_LINE, encoding="utf-8")
    command = served_with_truth(scenario, truth)
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 3
    assert "nowhere/truth.json: cannot be written" in done.stderr


@pytest.mark.usefixtures("own_log")
def test_the_truth_of_a_file_may_lie_elsewhere_or_where_it_is(tmp_path: Path) -> None:
    scenario, file = tmp_path / "cold.toml", tmp_path / "cold.parquet"
    scenario.write_text(COLD_LINE + FAULT, encoding="utf-8")
    beside, other = tmp_path / "cold.truth.json", tmp_path / "other.json"
    for truth in (beside, other):
        assert exit_code(str(scenario), "--to", str(file), "--begin", str(T0_NS), "--truth", str(truth)) == 0
    assert other.read_text(encoding="utf-8") == beside.read_text(encoding="utf-8")
    assert [entry["id"] for entry in json.loads(other.read_text(encoding="utf-8"))] == ["probe"]
