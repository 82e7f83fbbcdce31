"""Features are medians of ten seconds; what is not there is not known."""

from __future__ import annotations

import numpy as np

from process.features import NS, Samples, features_of

START = 1_900_000_000 * NS


def samples(time_s: np.ndarray, value: np.ndarray | float) -> Samples:  # type: ignore[type-arg]
    seconds = np.asarray(time_s, dtype=np.float64)
    times = START + (seconds * NS).astype(np.int64)
    return times, np.broadcast_to(np.asarray(value, np.float64), seconds.shape).copy()


def test_each_point_is_the_median_of_its_ten_seconds():
    second = np.arange(40.0)
    value = np.where(second % 10 == 3, 999.0, 700 + second // 10)  # one wild sample each
    points = features_of({"doser.rate.pv": samples(second, value)}, START, START + 40 * NS)
    assert [p.feed_kg_h for p in points] == [700, 701, 702, 703]
    assert [(p.time_ns - START) // NS for p in points] == [10, 20, 30, 40]


def test_set_points_stand_and_measured_values_do_not():
    signals = {
        "doser.rate.sp": samples(np.array([-50.0]), 700.0),
        "doser.rate.pv": samples(np.array([5.0]), 650.0),
    }
    points = features_of(signals, START, START + 300 * NS)
    assert all(p.feed_sp_kg_h == 700 for p in points)
    known = [not np.isnan(p.feed_kg_h) for p in points]
    assert known == [True] * 9 + [False] * 21


def test_bad_samples_are_passed_over():
    second = np.arange(20.0)
    value = np.where((second >= 10) | (second < 4), np.nan, 700.0)
    points = features_of({"doser.rate.pv": samples(second, value)}, START, START + 20 * NS)
    assert points[0].feed_kg_h == 700 and np.isnan(points[1].feed_kg_h)


def test_zones_are_taken_together_without_those_taken_out():
    second = np.arange(20.0)
    signals = {}
    for plate, temp in ((1, 219.0), (2, 215.0), (3, 150.0)):
        signals[f"filter.plate.{plate}.temp.pv"] = samples(second, temp)
        signals[f"filter.plate.{plate}.temp.sp"] = samples(second[:1], 220.0)
        signals[f"filter.plate.{plate}.out"] = samples(second, 70.0 if plate == 2 else 30.0)
    (first, _) = features_of(signals, START, START + 20 * NS)
    assert (first.farthest_k, first.most_below_k, first.hottest_cel) == (70, 70, 219)
    signals["filter.plate.3.enabled.state"] = samples(second[:1], 0.0)
    (first, _) = features_of(signals, START, START + 20 * NS)
    assert (first.farthest_k, first.most_out, first.hot_share) == (5, 70, 0.5)


def test_a_short_wipe_is_seen():
    wiper = samples(np.array([0.0, 12, 14]), np.array([0.0, 1, 0]))
    points = features_of({"filter.wiper.state": wiper}, START, START + 40 * NS)
    assert [p.wiping for p in points] == [False, True, False, False]


def test_a_line_without_signals_has_features_that_know_nothing():
    (point,) = features_of({}, START, START + 10 * NS)
    assert np.isnan(point.feed_kg_h) and not point.turns and not point.stands
    assert point.cuts and point.diverter_good
    assert features_of({}, START, START) == []
