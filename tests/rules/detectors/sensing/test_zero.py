"""Zeros are read after a person's confirmation, and only then."""

from __future__ import annotations

import numpy as np
import pytest

from historian.frame import NS, Series
from rules.detectors.sensing.zero import PressureZero
from rules.finding import Finding
from rules.seen.told import ZERO_STATE, Told
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.sensing.days import INLET, LEVELS, made, running
from tests.rules.detectors.signals import T0_NS, Staged, every, seconds_of, tags_of

STOPS_S = 600


def stopped(zero_bar: float, stops_s: int = STOPS_S, duration_s: int = 3000) -> dict[str, Series]:
    """A line that stops; its inlet pressure then reads so much."""
    values = running(duration_s)
    for path in LEVELS:
        values[path][stops_s:] = 0.1 * np.sin(np.arange(duration_s - stops_s))
    values[INLET][stops_s:] += zero_bar
    values["doser.rate.pv"] = np.where(np.arange(duration_s) < stops_s, 640.0, 0.0)
    values["extruder.screw.speed.pv"] = values["doser.rate.pv"] / 8
    return made(values)


def found(signals: dict[str, Series], *told_s: int) -> list[Finding]:
    staged = Staged.of(PressureZero, FACTS, signals)
    said: list[Finding] = []
    for block in every(signals, 60):
        for at in told_s:
            if block.arrival_ns - 60 * NS < T0_NS + at * NS <= block.arrival_ns:
                staged.stage.tell(Told(T0_NS + at * NS, ZERO_STATE))
        said += [f for f in staged.update(block) if isinstance(f, Finding)]
    return said


@pytest.mark.parametrize("zero_bar", [3.4, -2.6])
def test_a_zero_that_has_moved_is_shown_and_not_applied(zero_bar: float):
    (only,) = found(stopped(zero_bar), 1800)
    assert only.subject == "filter.inlet.pressure" and 1800 < seconds_of(only.time_ns) <= 1900
    assert f"{zero_bar:+.1f} bar" in only.sentence and "not corrected" in only.sentence
    assert "no proof" in only.advice


def test_nothing_is_read_without_a_confirmation():
    assert found(stopped(3.4)) == []


def test_nothing_is_read_before_the_screw_has_stood_for_ten_minutes():
    (late,) = found(stopped(3.4), STOPS_S + 200)
    assert seconds_of(late.time_ns) >= STOPS_S + 600


def test_nothing_is_read_while_melt_runs():
    assert found(stopped(3.4), 300) == []


def test_a_zero_within_its_limit_is_none():
    assert found(stopped(1.6), 1800) == []


def test_the_next_confirmation_ends_it_and_says_no_more_than_it_knows():
    signals = stopped(3.4)
    mended = signals[INLET]
    value = np.where(np.arange(3000) >= 2000, mended.value - 3.4, mended.value)
    signals[INLET] = Series(mended.time_ns, value, mended.quality)
    began, ended = found(signals, 1800, 2100)
    assert began.active and not ended.active and "no proof" in ended.sentence


def test_it_goes_on_after_a_restart():
    signals = stopped(3.4)
    blocks = every(signals, 30)
    staged, said = Staged.of(PressureZero, FACTS, signals), []
    for block in blocks:
        again = Staged.of(PressureZero, FACTS, signals)
        again.restore(staged.save())
        staged = again
        if 1800 <= seconds_of(block.arrival_ns) < 1830:
            staged.stage.tell(Told(block.arrival_ns, ZERO_STATE))
        said += staged.update(block)
    assert len([f for f in said if isinstance(f, Finding)]) == 1
    assert set(tags_of(signals)) >= {INLET}
