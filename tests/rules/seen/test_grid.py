"""The grid gives each tag's last value at every second, and never what is not known."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from historian.frame import NS
from historian.quality import GOOD, NO_DATA
from rules.block import Rows
from rules.seen.grid import Grid
from tests.rules.detectors.signals import Signals, cut, every, seconds_of, series, tags_of

ANALOG, STATE = "filter.dp.calc", "filter.wiper.state"
TAGS = tags_of([ANALOG, STATE])


def gridded(signals: Signals, cuts_s: list[float], hold_s: float = 90.0) -> Rows:
    grid = Grid([ANALOG, STATE], TAGS, hold_s=hold_s)
    rows = [grid.rows(b) for b in cut(signals, cuts_s)]
    return Rows(np.concatenate([r.time_ns for r in rows]), np.concatenate([r.value for r in rows]))


def test_a_second_is_given_once_a_later_sample_has_come():
    rows = gridded({ANALOG: series([0.2, 1.1, 2.7, 3.0], [1, 2, 3, 4])}, [])
    assert [seconds_of(t) for t in rows.time_ns] == [1, 2]
    assert rows.value[:, 0].tolist() == [1, 2]


def test_bad_samples_are_not_known_and_good_ones_are_again():
    rows = gridded({ANALOG: series([0, 1, 2, 3], [1, 2, 3, 4], [GOOD, NO_DATA, GOOD, GOOD])}, [])
    np.testing.assert_array_equal(rows.value[:, 0], [1, np.nan, 3])


def test_a_state_stands_while_other_tags_come_but_not_over_a_pause():
    dp = series(np.concatenate((np.arange(0, 300), np.arange(600, 700))), 30.0)
    rows = gridded({ANALOG: dp, STATE: series([0, 650], [1, 0])}, [])
    at = {round(seconds_of(t)): v for t, v in zip(rows.time_ns, rows.value[:, 1], strict=True)}
    assert at[299] == 1 and np.isnan(at[620]) and at[651] == 0


def test_a_measured_value_is_held_no_longer_than_told():
    rows = gridded({ANALOG: series([0], 30.0), STATE: series(np.arange(0, 200, 2), 0.0)}, [], hold_s=90)
    at = {round(seconds_of(t)): v for t, v in zip(rows.time_ns, rows.value[:, 0], strict=True)}
    assert at[90] == 30 and np.isnan(at[91])


def test_a_pause_gives_one_row_without_values_however_long_it_is():
    years_s = 60.0 * 365 * 86_400
    rows = gridded({ANALOG: series([0, 1, years_s, years_s + 2], 5.0)}, [])
    assert len(rows.time_ns) < 200
    assert np.isnan(rows.value[:, 0]).sum() == 1


def test_older_samples_of_a_tag_are_passed_over():
    grid = Grid([ANALOG, STATE], TAGS)
    first = grid.rows(cut({ANALOG: series([0, 1, 2], [1, 2, 3])}, [])[0])
    again = grid.rows(cut({ANALOG: series([0.5, 2, 2.5, 3.5], [9, 9, 4, 5])}, [])[0])
    assert first.value[:, 0].tolist() == [1, 2]
    assert again.value[:, 0].tolist() == [3, 4]


def test_a_source_that_comes_later_is_heard_all_the_same():
    grid = Grid([ANALOG, STATE], TAGS)
    blocks = [
        {ANALOG: series([t, t + 0.5], float(t)), STATE: series([t - 3], float(t - 3))} for t in range(3, 9)
    ]
    rows = [grid.rows(cut(b, [])[0]) for b in blocks]
    assert rows[-1].value[-1].tolist() == [8.0, 5.0]


@st.composite
def irregular(draw: st.DrawFn) -> Signals:
    """Samples at uneven times with pauses, some of them bad."""
    signals = {}
    for path in (ANALOG, STATE):
        steps = draw(st.lists(st.sampled_from([0.1, 0.5, 1.0, 1.7, 30.0, 200.0]), min_size=1, max_size=30))
        quality = draw(st.lists(st.sampled_from([GOOD, NO_DATA]), min_size=len(steps), max_size=len(steps)))
        signals[path] = series(np.cumsum(steps), np.arange(len(steps)), quality)
    return signals


@given(irregular(), st.lists(st.floats(0, 3000), max_size=12))
def test_how_blocks_are_cut_changes_no_row(signals: Signals, cuts_s: list[float]):
    whole, parts = gridded(signals, []), gridded(signals, cuts_s)
    np.testing.assert_array_equal(whole.time_ns, parts.time_ns)
    np.testing.assert_array_equal(whole.value, parts.value)


@given(irregular())
def test_each_value_is_that_of_the_last_sample_before(signals: Signals):
    rows = gridded(signals, [])
    samples = signals[ANALOG]
    for time_ns, value in zip(rows.time_ns.tolist(), rows.value[:, 0], strict=True):
        before = np.flatnonzero(samples.time_ns <= time_ns)
        if len(before) == 0 or samples.quality[before[-1]] or time_ns - samples.time_ns[before[-1]] > 90 * NS:
            assert np.isnan(value)
        elif not np.isnan(value):
            assert value == samples.value[before[-1]]
        else:  # not known only after a pause of both tags
            both = np.sort(np.concatenate([s.time_ns for s in signals.values()]))
            assert time_ns - both[both <= time_ns][-1] > 90 * NS or _pause_since(
                both, samples, before[-1], time_ns
            )


def _pause_since(both: np.ndarray, samples: object, last: int, time_ns: int) -> bool:
    start = samples.time_ns[last]  # type: ignore[attr-defined]
    inside = both[(both >= start) & (both <= time_ns)]
    return bool((np.diff(inside) > 90 * NS).any())


def test_the_grid_goes_on_after_a_restart():
    signals = {ANALOG: series(np.arange(0, 60, 0.7), np.arange(86)), STATE: series([3, 30], [0, 1])}
    blocks = every(signals, 5)
    straight, broken = Grid([ANALOG, STATE], TAGS), Grid([ANALOG, STATE], TAGS)
    for block in blocks:
        fresh = Grid([ANALOG, STATE], TAGS)
        fresh.restore(broken.save())
        broken = fresh
        np.testing.assert_array_equal(straight.rows(block).value, broken.rows(block).value)
