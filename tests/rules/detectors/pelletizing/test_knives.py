"""Blunt knives are found by their torque at the same flow, or by tails; new knives begin anew."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rules.detectors.pelletizing.knives import TAILS, KnifeWorn
from rules.line import RuleSetting
from rules.seen.told import KNIVES_CHANGED
from tests.rules.detectors.extrusion.made import FACTS, EvenLine, begun_s, judged
from tests.rules.detectors.pelletizing.days import worn

TORQUE = "pelletizer.knife.torque.pv"


def wearing(points_per_h: float = 20.0, duration_s: int = 5400) -> EvenLine:
    line = EvenLine(duration_s)
    line.value[TORQUE] += np.maximum(line.time_s - 1800, 0) / 3600 * points_per_h
    return line


def test_a_slow_rise_is_found_when_it_is_large_enough():
    """42 % and 20 points an hour: 20 % more after 25 min (derived here), and the median lags by some minutes."""
    found = judged(KnifeWorn, wearing())
    assert 1800 + 25 * 60 <= begun_s(found) <= 1800 + 42 * 60
    assert "more torque than at first at the same flow" in found[0].sentence
    assert "40 h" in found[0].sentence


def test_less_convinces_when_the_laboratory_finds_tails():
    alone = begun_s(judged(KnifeWorn, wearing()))
    tailed = judged(KnifeWorn, wearing(), told=[(2500.0, TAILS, 2.1)])
    assert begun_s(tailed) < alone - 300
    assert "The laboratory found 2.1 % tails" in tailed[0].sentence


def test_tails_twice_in_a_row_convince_alone():
    found = judged(KnifeWorn, EvenLine(3600), told=[(2500.0, TAILS, 1.6), (3000.0, TAILS, 1.4)])
    assert 3000 <= begun_s(found) <= 3120
    assert "no more torque" in found[0].sentence
    assert judged(KnifeWorn, EvenLine(3600), told=[(2500.0, TAILS, 1.6), (3000.0, TAILS, 0.4)]) == []


def test_more_feed_needs_more_torque():
    line = EvenLine(5400)
    for path in ("doser.rate.pv", "doser.rate.sp"):
        line.scale(path, 1.3, 2400)
    line.scale(TORQUE, 1 + 0.67 * 0.3, 2475)
    assert judged(KnifeWorn, line) == []


def test_more_contact_pressure_needs_more_torque():
    line = EvenLine(5400)
    for path in ("pelletizer.knife.pressure.pv", "pelletizer.knife.pressure.sp"):
        line.scale(path, 1.5, 2400)
    line.scale(TORQUE, 1.3, 2400)
    assert judged(KnifeWorn, line) == []


def test_new_knives_end_it_and_run_in_without_a_word():
    line = worn()
    found = judged(KnifeWorn, line, told=[(2500.0, KNIVES_CHANGED, float("nan"))])
    assert [f.active for f in found] == [True, False]
    assert "The knives were changed" in found[1].sentence


def test_tails_of_samples_that_the_old_knives_cut_do_not_count():
    told = [(1500.0, KNIVES_CHANGED, float("nan")), (2500.0, TAILS, 2.0), (3500.0, TAILS, 2.0)]
    assert judged(KnifeWorn, EvenLine(4800), told=told) == []


def test_the_file_sets_the_numbers():
    facts = replace(FACTS, rules={"knife-worn": RuleSetting(numbers={"rise_percent": 100.0})})
    assert judged(KnifeWorn, worn(), facts) == []


@pytest.mark.parametrize("seed", range(3))
def test_an_even_day_says_nothing(seed: int):
    assert judged(KnifeWorn, EvenLine(3600, seed=seed)) == []
