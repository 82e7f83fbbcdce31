"""The plain ways do what they are said to do: figures by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from benchmarks.rules_plain import (
    LIMIT,
    Binned,
    beyond_z,
    binned,
    limits_of,
    outside_limits,
    plain_score,
)
from historian.frame import NS
from rules.backtest.scoring import Outcome
from tests.rules.backtest.made import fault
from tests.rules.detectors.signals import T0_NS, tags_of
from tests.rules.toys import frame_at

PATH = "filter.plate.3.temp.pv"


def day(values: np.ndarray) -> Binned:
    return Binned((PATH,), values[:, None], T0_NS, np.ones(len(values), dtype=np.bool_))


def limits(of: Binned) -> dict[str, tuple[float, float]]:
    low, high = limits_of(of)
    return {p: (float(a), float(b)) for p, a, b in zip(of.paths, low, high, strict=True)}


def test_limits_are_a_tenth_of_the_range_beyond_it() -> None:
    """From 210 to 230: 20 K and 2 K on either side."""
    assert limits(day(np.array([210.0, 220.0, 230.0]))) == {PATH: (208.0, 232.0)}


def test_only_a_running_line_is_outside_its_limits() -> None:
    seen = day(np.array([207.0, 208.0, np.nan, 233.0]))
    assert outside_limits(seen, {PATH: (208.0, 232.0)})[:, 0].tolist() == [True, False, False, True]
    still = replace(seen, running=np.zeros(4, dtype=np.bool_))
    assert not outside_limits(still, {PATH: (208.0, 232.0)}).any()


def test_a_leap_is_far_from_the_half_hour_before_and_scatter_is_not() -> None:
    values = 220.0 + np.tile([0.5, -0.5], 150)  # a standard deviation of 0.5
    values[250] += 1.9  # from the upper half: (0.5 + 1.9) / 0.5 = 4.8 of them, and five are allowed
    assert not beyond_z(day(values)).any()
    values[250] += 0.3  # 5.4
    assert np.flatnonzero(beyond_z(day(values))[:, 0]).tolist() == [250]


def test_a_find_counts_where_the_fault_shows_and_after_half_a_minute() -> None:
    """Beyond from 1100 s on: said at 1130 s, which is 100 s after it could be seen."""
    seen = day(np.full(360, 220.0))
    beyond = np.zeros((360, 1), dtype=np.bool_)
    beyond[110:112] = True
    assert plain_score(seen, beyond, LIMIT, [fault()]).found[0].outcome is Outcome.MISSED
    beyond[110:120] = True
    (found,) = plain_score(seen, beyond, LIMIT, [fault()]).found
    assert found.lead_s == 100.0
    elsewhere = fault(tags=("die.pressure.pv",), placed=False)
    scored = plain_score(seen, beyond, LIMIT, [elsewhere])
    assert scored.found[0].outcome is Outcome.MISSED
    assert len(scored.false) == 1


def test_samples_become_means_of_ten_seconds_and_a_line_runs_ten_minutes_after_its_start() -> None:
    tags = tags_of([PATH, "extruder.screw.speed.pv", "filter.wiper.state"])
    frames = []
    for s in range(0, 900, 5):
        speed = 90.0 if s >= 100 else 0.0
        frames.append((s, frame_at(s + 1, (1, s, float(s)), (2, s, speed), (3, s, 1.0))))
    made = binned(frames, tags)
    assert made.paths == ("extruder.screw.speed.pv", PATH)
    assert made.value[:3, 1].tolist() == [2.5, 12.5, 22.5]
    # Turning from bin 10 on: bins 10 to 69 are its first ten minutes.
    assert np.flatnonzero(made.running)[0] == 70
    assert made.start_ns % (10 * NS) == 0
