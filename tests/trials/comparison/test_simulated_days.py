"""Two simulated days of one plant beside each other: their differences are chance, and are told as that."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from historian.frame import NS
from rules.review import Window
from tests.support.made_outcome import FACTS, outcome
from tests.support.simulated_trial import END_S, STEADY_S, T0_NS, day
from trials.comparison import (
    CycleValue,
    Side,
    Trait,
    Verdict,
    by_cleaning,
    by_throughput,
    by_time,
    compare,
    rows_of,
    side_of_point,
)
from trials.figures import Melt

STEADY = (Window(T0_NS + STEADY_S * NS, T0_NS + END_S * NS),)
LDPE = replace(FACTS, melt=Melt(0.42, 45_000.0, 8000.0, 220.0, 740.0))


def side(name: str, seed: int) -> Side:
    one = day(seed)
    made = outcome(name, traces=one.traces, found=one.cycles, windows=STEADY, facts=LDPE)
    return side_of_point(made, made.points[0])


@pytest.fixture(scope="module")
def sides() -> list[Side]:
    return [side("T-1", 20323), side("T-2", 20324)]


def test_few_differences_are_larger_than_their_uncertainty(sides: list[Side]):
    """An interval of about 95 %: of some fifty figures that are judged, few may lie beyond by chance."""
    made = compare(sides, across=[Trait.POLYMER])
    judged = [r for r in made.rows if r.differences[0].verdict in (Verdict.LARGER, Verdict.WITHIN)]
    larger = [r.name for r in judged if r.differences[0].verdict is Verdict.LARGER]
    assert len(judged) > 40
    assert len(larger) <= 0.12 * len(judged), larger
    assert all("e-" not in " ".join(row) for row in rows_of(made))


def test_the_days_lie_near_each_other_on_each_axis(sides: list[Side]):
    dp = "filter.dp.calc"
    for made in (
        by_time(sides, dp, 300),
        by_throughput(sides, dp, 50),
        by_cleaning(sides, CycleValue.TROUGH),
    ):
        one, other = (v[: len(made.at) - 1] for v in made.values)
        both = np.isfinite(one) & np.isfinite(other)
        assert np.sum(both) > 10
        assert np.mean(one[both]) == pytest.approx(np.mean(other[both]), rel=0.05)
