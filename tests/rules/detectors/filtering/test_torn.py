"""A screen whose resistance is gone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from historian.frame import Series
from rules.detectors.filtering.torn import ScreenTorn
from rules.finding import Finding, Priority
from tests.rules.detectors.filtering.days import USUAL, made, saw, torn
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.signals import Staged, every, play, seconds_of


def found(signals: dict[str, Series]) -> list[Finding]:
    return play(Staged.of(ScreenTorn, FACTS, signals), every(signals, 60))


def test_a_tear_is_found_within_a_minute():
    """common practice, no source: one minute."""
    (began,) = found(torn(1560))
    assert 1560 < seconds_of(began.time_ns) <= 1620 and began.priority is Priority.HIGH
    assert "suspect" in began.sentence and "trained people" in began.advice


@pytest.mark.parametrize("at_s", [1602, 1610, 1625, 1640])
def test_a_tear_in_a_cleaning_or_soon_after_it_is_found(at_s: int):
    """The cleaning begins at 1600 s and takes 22 s; until half a minute after it nothing is judged."""
    (began,) = found(torn(at_s))
    assert seconds_of(began.time_ns) <= max(at_s, 1652) + 80


def test_cleanings_are_none():
    assert found(made(saw([replace(USUAL, period_s=300)] * 5))) == []


def test_less_feed_moves_the_die_as_well_and_is_none():
    values = saw([replace(USUAL, period_s=300)] * 4, rest_s=400)
    values["filter.dp.calc"][1560:] *= 0.6
    values["die.pressure.pv"][1560:] *= 0.7
    assert found(made(values)) == []


def test_a_short_dip_is_none():
    values = saw([replace(USUAL, period_s=300)] * 4, rest_s=400)
    values["filter.dp.calc"][1560:1575] *= 0.4
    assert found(made(values)) == []


def test_a_lost_transducer_is_none():
    values = saw([replace(USUAL, period_s=300)] * 4, rest_s=400)
    values["filter.dp.calc"][1560:] = np.nan
    signals = made(values)
    assert [f for f in found(signals) if f.active] == []


def never_stopping(at_s: int | None, factor: float = 0.45) -> dict[str, Series]:
    """A wiper that turns throughout keeps the pressure difference level, until the screen tears."""
    values = saw([USUAL] * 4, rest_s=1200)
    chance = np.random.default_rng(5)
    dp = 30.0 + np.sin(np.arange(len(values["filter.dp.calc"])) / 200)
    values["filter.dp.calc"] = dp + 0.3 * chance.standard_normal(len(dp))
    values["filter.wiper.state"][:] = 1.0
    if at_s is not None:
        values["filter.dp.calc"][at_s:] *= factor
    return made(values)


def test_a_tear_is_found_where_the_wiper_never_stops():
    (began,) = found(never_stopping(1560))
    assert 1560 < seconds_of(began.time_ns) <= 1620


def test_a_wiper_that_never_stops_is_no_tear():
    assert found(never_stopping(None)) == []


def test_a_part_of_the_screen_that_clears_is_none_where_the_wiper_never_stops():
    assert found(never_stopping(1560, factor=0.85)) == []
