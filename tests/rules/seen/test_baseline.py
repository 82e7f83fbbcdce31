"""What is usual."""

from __future__ import annotations

from math import isnan, nan

import numpy as np
import pytest

from rules.seen.baseline import Baseline


def test_it_is_not_known_before_there_is_enough():
    one = Baseline(points=10, least=4)
    for value in (1.0, nan, 2.0, 3.0):
        one.learn(value)
    assert isnan(one.median) and isnan(one.sigma)
    one.learn(4.0)
    assert one.median == 2.5


def test_scatter_is_that_of_a_normal_distribution_and_outliers_do_not_count():
    one = Baseline(points=2001, least=100)
    for value in np.random.default_rng(7).normal(50.0, 2.0, 2000):
        one.learn(value)
    one.learn(1e6)
    assert one.median == pytest.approx(50.0, abs=0.2)
    assert one.sigma == pytest.approx(2.0, rel=0.06)


def test_it_keeps_the_last_ones_and_goes_on_after_a_restart():
    one, again = Baseline(points=4, least=4), Baseline(points=4, least=4)
    for value in (9.0, 1.0, 2.0, 3.0, 4.0):
        one.learn(value)
    again.restore(one.save())
    assert one.median == again.median == 2.5
    one.forget()
    assert isnan(one.median)
