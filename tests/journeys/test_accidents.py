"""Power cuts, killed servers and second starts: what was received is there, gaps are gaps, and all goes on."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest

from historian.frame import NS
from historian.quality import NO_DATA
from meltledger.config import load
from tests.journeys.line import LineUnderTest, told
from trials.record import TrialRecord

MakeLine = Callable[..., LineUnderTest]
PRESSURE = "filter.inlet.pressure.pv"


def cut_power(line: LineUnderTest, seconds: float) -> int:
    """Record for a while, then kill everything at once; when, UTC nanoseconds."""
    line.start_machines(ledger="before.csv")
    line.start_run()
    line.until(lambda: line.samples_of(PRESSURE) > 3, 30, "samples in the store")
    time.sleep(seconds)
    return line.kill("run", "machines")


def nothing_missing(line: LineUnderTest, killed_ns: int) -> None:
    """Every sample published more than 2 s before the kill is stored, once."""
    published, stored = line.published("before.csv"), line.stored()
    checked = 0
    for path, samples in published.items():
        series = stored[path]
        assert len(np.unique(series.time_ns)) == len(series), f"{path} is doubled"
        kept = set(series.time_ns.tolist())
        first_ns = min(kept)
        due = [t for t in samples if first_ns <= t < killed_ns - 2 * NS]
        assert [t for t in due if t not in kept] == [], path
        checked += len(due)
    assert checked > 200


def test_a_power_cut_loses_nothing_and_is_said_in_one_finding(make_line: MakeLine) -> None:
    line = make_line(aux_channels=20)
    killed_ns = cut_power(line, 5.3)
    trial = TrialRecord.open(load(line.file).trials)
    before = trial.under_way()
    assert before is not None
    time.sleep(6)  # the rule asks for more than five seconds without a heartbeat
    line.start_machines(ledger="after.csv")
    line.start_run()
    line.until(lambda: line.stored()[PRESSURE].time_ns[-1] > killed_ns + 6 * NS, 30, "new samples")
    time.sleep(3)
    line.stop("run")
    line.stop("machines")

    nothing_missing(line, killed_ns)
    series = line.stored()[PRESSURE]
    gap = series.time_ns[series.quality == NO_DATA]
    assert len(gap) == 1, "one mark between the last sample before and the first one after"
    assert abs(int(gap[0]) - killed_ns) < 3 * NS
    entries = line.journal()
    findings = [e for e in entries if e.kind == "finding" and e.rule == "recording-gap"]
    assert len(findings) == 1
    assert "Nothing was recorded from" in findings[0].data["sentence"]
    evidence = findings[0].data["evidence"]
    assert abs(evidence["start_ns"] - killed_ns) < 3 * NS
    assert evidence["end_ns"] - evidence["start_ns"] > 5 * NS
    assert len(told(entries, "trial-reopened")) == 1
    after = trial.under_way()
    trial.close()
    assert after == before
    assert line.replay_differences() == ""


@pytest.mark.long
@pytest.mark.timeout(1200)
def test_twenty_power_cuts_lose_nothing(make_line: MakeLine) -> None:
    chance = np.random.default_rng(5)
    for _ in range(20):
        line = make_line(aux_channels=83)
        killed_ns = cut_power(line, float(chance.uniform(1, 8)))
        line.start_machines(ledger="after.csv")
        line.start_run()
        line.until(
            lambda line=line, at=killed_ns: line.stored()[PRESSURE].time_ns[-1] > at + NS, 30, "new samples"
        )
        line.stop("run")
        line.stop("machines")
        nothing_missing(line, killed_ns)


def test_a_killed_server_leaves_a_marked_gap_and_is_found_again(make_line: MakeLine) -> None:
    line = make_line()
    line.start_run()
    line.until(
        lambda: bool(told(line.journal(), "source-waiting")),
        20,
        "the endpoint that is down at the start is told",
    )
    assert line.endpoint.removeprefix("opc.tcp://") in told(line.journal(), "source-waiting")[0].data["text"]
    line.start_machines(ledger="before.csv")
    line.until(lambda: line.samples_of(PRESSURE) > 3, 30, "samples in the store")
    killed_ns = line.kill("machines")
    line.until(lambda: bool(told(line.journal(), "source-lost")), 30, "the loss is told")
    line.start_machines(ledger="after.csv")
    line.until(
        lambda: line.stored()[PRESSURE].time_ns[-1] > time.time_ns() - 3 * NS, 40, "samples after the restart"
    )
    line.stop("run")
    line.stop("machines")

    for path, series in line.stored().items():
        bad = series.time_ns[series.quality == NO_DATA]
        assert len(bad) == 1, f"{path} has {len(bad)} gap marks"
        assert abs(int(bad[0]) - killed_ns) < 3 * NS
        assert len(np.unique(series.time_ns)) == len(series), f"{path} is doubled"
        after = series.time_ns[series.time_ns > bad[0]]
        assert len(after) > 0, f"{path} did not come back"
    assert len(told(line.journal(), "source-connected")) == 2
    assert line.replay_differences() == ""


def test_a_second_run_on_the_same_folder_is_refused(make_line: MakeLine) -> None:
    line = make_line()
    line.start_run()
    line.until(lambda: (line.data / "writer.lock").exists() and bool(line.journal()), 20, "the first run")
    first = line.processes.pop("run")
    line.start_run()
    assert line.processes["run"].wait(timeout=20) == 2
    assert "another `meltledger run` writes here" in line.log("run")
    line.processes["run"] = first


def test_simulated_samples_never_go_beside_real_ones(make_line: MakeLine) -> None:
    line = make_line()
    line.start_run()
    line.until(lambda: (line.data / "recent.db").exists() and bool(line.journal()), 20, "the first run")
    line.stop("run")
    line.file.write_text(
        line.file.read_text(encoding="utf-8").replace("simulated = true", ""), encoding="utf-8"
    )
    line.start_run()
    assert line.processes["run"].wait(timeout=20) == 2
    assert "the two are never mixed" in line.log("run")
