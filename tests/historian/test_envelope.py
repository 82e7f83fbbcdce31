"""The outline keeps every extreme and every gap."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.envelope import envelope_of
from historian.errors import WrongInput
from historian.frame import Series
from historian.quality import NO_DATA


def series(n: int, seed: int, bad: float) -> Series:
    chance = np.random.default_rng(seed)
    time_ns = np.sort(chance.integers(0, 8192, n))
    quality = np.where(chance.random(n) < bad, NO_DATA, 0)
    return Series.of(time_ns, np.where(quality == 0, chance.normal(size=n), np.nan), quality)


@settings(max_examples=60)
@given(
    st.integers(1, 400),
    st.integers(0, 1000),
    st.sampled_from([0.0, 0.05, 0.6]),
    st.sampled_from([1, 2, 8, 32]),
)
def test_every_column_keeps_its_first_last_least_and_most(
    n: int, seed: int, bad: float, columns: int
) -> None:
    whole = series(n, seed, bad)
    thin = envelope_of(whole, 0, 8192, columns)
    assert thin.samples == n
    for column in range(columns):
        low, high = column * 8192 / columns, (column + 1) * 8192 / columns
        inside = (whole.time_ns >= low) & (whole.time_ns < high) & (whole.quality == 0)
        kept = (thin.time_ns >= low) & (thin.time_ns < high) & ~np.isnan(thin.value)
        if not inside.any():
            assert not kept.any()
            continue
        value, outline = whole.value[inside], thin.value[kept]
        assert (outline.min(), outline.max()) == (value.min(), value.max())
        assert {value[0], value[-1]} <= set(outline)


@settings(max_examples=60)
@given(st.integers(1, 400), st.integers(0, 1000), st.integers(1, 10))
def test_every_run_of_bad_samples_breaks_the_line(n: int, seed: int, columns: int) -> None:
    whole = series(n, seed, 0.3)
    thin = envelope_of(whole, 0, 8192, columns)
    runs = np.isnan(whole.value) & np.concatenate(([True], ~np.isnan(whole.value[:-1])))
    assert np.isnan(thin.value).sum() >= runs.sum()


def test_a_long_series_becomes_short() -> None:
    whole = Series.of(np.arange(100_000), np.sin(np.arange(100_000)), 0)
    assert len(envelope_of(whole, 0, 100_000, 100).time_ns) <= 400


def test_an_empty_window_is_refused() -> None:
    with pytest.raises(WrongInput):
        envelope_of(Series.empty(), 5, 5, 10)
