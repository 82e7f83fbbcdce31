"""Melt that leaves by the discharge between cleanings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from historian.frame import Series
from rules.detectors.filtering.loss import DischargeLoss
from rules.finding import Finding
from tests.rules.detectors.filtering.days import USUAL, leaking, made, saw
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.signals import Staged, every, play, seconds_of


def found(signals: dict[str, Series]) -> list[Finding]:
    return play(Staged.of(DischargeLoss, FACTS, signals), every(signals, 60))


def test_a_leak_is_found_within_forty_minutes_with_its_share():
    """common practice, no source: forty minutes."""
    (began,) = found(leaking())
    assert 600 < seconds_of(began.time_ns) <= 2400
    assert "between cleanings" in began.sentence and began.subject == "filter.discharge"


def test_what_leaves_with_cleanings_is_none():
    assert found(made(saw([replace(USUAL, period_s=240)] * 8))) == []


def test_a_bin_that_is_changed_is_none():
    values = saw([replace(USUAL, period_s=240)] * 8)
    weight = values["filter.discharge.weight.total"]
    values["filter.discharge.weight.total"] = np.where(np.arange(len(weight)) > 1500, weight - 3.0, weight)
    assert found(made(values)) == []


def test_what_came_out_while_the_scale_was_not_heard_is_none():
    """A cleaning's worth that appears at once between cleanings is no leak: a cleaning was not seen."""
    values = saw([replace(USUAL, period_s=240)] * 8)
    for at_s in (1100, 1350, 1580, 1830):
        values["filter.discharge.weight.total"][at_s:] += 0.7
    assert found(made(values)) == []
