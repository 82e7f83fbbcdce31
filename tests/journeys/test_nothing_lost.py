"""From the machines' server to the store: every published sample is there, once, and nothing else."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import psutil
import pytest

from historian.quality import NO_DATA
from tests.journeys.line import LineUnderTest

MakeLine = Callable[..., LineUnderTest]


def record(line: LineUnderTest, seconds: float) -> float:
    """Run the line for a while at 1×; the share of one core that collector, store and rules took together."""
    line.start_machines()
    line.start_run()
    line.until(lambda: line.samples_of("extruder.screw.speed.pv") > 3, 30, "samples in the store")
    process = psutil.Process(line.processes["run"].pid)
    before, began = process.cpu_times(), time.monotonic()
    time.sleep(seconds)
    after, ended = process.cpu_times(), time.monotonic()
    # The machines stop last: what they published while nobody collected any more is not ours to have.
    line.stop("run")
    line.stop("machines")
    return (after.user + after.system - before.user - before.system) / (ended - began)


def compare(line: LineUnderTest) -> tuple[int, int]:
    """Published samples between the first and the last stored one, and how many of them are missing."""
    published, stored = line.published(), line.stored()
    counted = missing = 0
    last_ns = min(int(s.time_ns[-1]) for p, s in stored.items() if p.endswith(".pv"))
    for path, samples in published.items():
        series = stored[path]
        assert len(np.unique(series.time_ns)) == len(series), f"{path} is doubled"
        assert not (series.quality == NO_DATA).any(), f"{path} has a gap"
        kept = dict(zip(series.time_ns.tolist(), series.value.tolist(), strict=True))
        first_ns = int(series.time_ns[0])
        for time_ns, value in samples.items():
            if first_ns <= time_ns <= last_ns:
                counted += 1
                missing += kept.get(time_ns) != value
    return counted, missing


def test_every_published_sample_is_stored_once(make_line: MakeLine) -> None:
    line = make_line(aux_channels=83)
    record(line, 15)
    counted, missing = compare(line)
    assert missing == 0
    assert counted > 200 * 12


@pytest.mark.long
@pytest.mark.timeout(900)
def test_two_hundred_tags_for_ten_minutes_lose_nothing_and_cost_little(make_line: MakeLine) -> None:
    # 76 of the line's own tags change every second; the channels beside them make it 200.
    line = make_line(aux_channels=124)
    share = record(line, 600)
    counted, missing = compare(line)
    every_second = sum(len(samples) > 590 for samples in line.published().values())
    print(
        f"{every_second} tags at 1 Hz, {counted} samples, {missing} missing, {100 * share:.2f} % of one core"
    )
    assert every_second >= 200
    assert missing == 0
    assert counted > 200 * 590
    assert share < 0.10
