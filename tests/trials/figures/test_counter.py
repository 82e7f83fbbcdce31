"""Counters: the time outside of the window is not counted, resets are not, and noise does not matter."""

from __future__ import annotations

import numpy as np
import pytest

from rules.review import Window
from trials.figures import Calibration, Trace
from trials.figures.counter import gain_between, rate_per_h
from trials.figures.trace import NS

PATH = "product.scale.total"
HOUR = [Window(0, 3600 * NS)]


def scale(second: np.ndarray, kg: np.ndarray, calibration: Calibration | None = None) -> dict[str, Trace]:
    return {PATH: Trace.of(PATH, (second * NS).astype(np.int64), kg, calibration)}


def test_the_rate_is_that_between_the_samples_not_that_over_the_window():
    """Samples once in 100 s: the first and last lie up to 100 s inside."""
    second = np.arange(90, 3600, 100)
    found = rate_per_h(scale(second, 50 + second * 0.2), PATH, HOUR)
    assert found.value == pytest.approx(720.0) and found.known_share > 0.95


def test_what_happens_before_and_after_the_window_does_not_count():
    second = np.arange(-3600, 7200, 5)
    kg = np.where(
        second < 0, second * 1.0, np.where(second < 3600, second * 0.2, 720 + (second - 3600) * 3.0)
    )
    assert rate_per_h(scale(second, kg), PATH, HOUR).value == pytest.approx(720.0)


def test_a_change_of_bags_is_left_out():
    second = np.arange(0, 3600, 5)
    kg = np.where(second < 2000, 300 + second * 0.2, (second - 2000) * 0.2)
    assert rate_per_h(scale(second, kg), PATH, HOUR).value == pytest.approx(720.0)


def test_noise_of_a_scale_is_no_reset_and_is_in_the_uncertainty():
    second = np.arange(0, 3600, 5)
    noisy = second * 0.2 + np.random.default_rng(3).normal(0, 0.3, len(second))
    found = rate_per_h(scale(second, noisy, Calibration({"offset": 5.0}, {"weights": 0.001})), PATH, HOUR)
    assert found.value == pytest.approx(720.0, abs=1.5)
    assert found.standard == pytest.approx(np.hypot(0.72, np.sqrt(2) * 0.3), rel=0.15)  # an offset cancels


def test_a_counter_in_steps_has_its_step_as_uncertainty():
    second = np.arange(0, 3600, 10)
    found = rate_per_h(scale(second, np.floor(second * 0.2), Calibration()), PATH, HOUR)
    assert found.value == pytest.approx(720.0, abs=1.0)
    assert 0.2 < found.standard < 1.5


def test_a_gap_is_bridged_since_the_counter_goes_on():
    second = np.concatenate([np.arange(0, 600, 5), np.arange(3000, 3600, 5)])
    assert rate_per_h(scale(second, second * 0.2), PATH, HOUR).value == pytest.approx(720.0)


@pytest.mark.parametrize(
    ("traces", "windows", "why"),
    [
        ({}, HOUR, "not recorded"),
        (scale(np.arange(10), np.arange(10.0)), [], "no window"),
        (scale(np.arange(0, 200, 5), np.arange(40.0)), HOUR, "5 minutes"),
        (scale(np.arange(0, 1200, 5), np.arange(240.0)), HOUR, "known for 33 %"),
        (scale(np.arange(0, 3600, 5), -0.1 * np.arange(720.0)), HOUR, "fell"),
        (scale(np.arange(0, 3600, 5), np.full(720, np.nan)), HOUR, "5 minutes"),
    ],
)
def test_why_there_is_no_rate(traces: dict[str, Trace], windows: list[Window], why: str):
    found = rate_per_h(traces, PATH, windows)
    assert not found.known and why in found.why


def test_between_two_times_the_samples_that_stand_then_count():
    trace = Trace.of(PATH, np.array([0, 100, 200]) * NS, [5.0, 6.1, 7.3])
    gain = gain_between(trace, 150 * NS, 260 * NS)
    assert gain is not None and gain.amount == pytest.approx(1.2) and gain.over_s == 110


def test_between_two_times_nothing_is_told_over_a_reset_or_beyond_what_is_known():
    trace = Trace.of(PATH, np.array([0, 100, 200]) * NS, [5.0, 6.1, 0.0])
    assert gain_between(trace, 50 * NS, 210 * NS) is None
    assert gain_between(trace, 50 * NS, 600 * NS) is None
    assert gain_between(trace, 100 * NS, 50 * NS) is None


def test_a_counter_that_is_read_once_a_minute_speaks_for_all_of_a_short_window():
    """Windows of eight minutes: five readings at each end are not needed to know when it was read."""
    second = np.arange(0, 3600, 60)
    windows = [Window(n * 600 * NS, (n * 600 + 480) * NS) for n in range(5)]
    found = rate_per_h(scale(second, second * 0.2), PATH, windows)
    assert found.value == pytest.approx(720.0) and found.known_share > 0.95
