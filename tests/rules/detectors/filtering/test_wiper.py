"""A wiper that does not turn, or rests where it should not."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import ArrayLike

from historian.frame import Series
from rules.detectors.filtering.wiper import WiperPark, WiperStalled
from rules.finding import Finding, Priority
from tests.rules.detectors.filtering.days import USUAL, made, not_parked, saw, stalled
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.signals import Staged, every, play, seconds_of


def found(rule: type, signals: dict[str, Series]) -> list[Finding]:
    return play(Staged.of(rule, FACTS, signals), every(signals, 60))


def put(signals: dict[str, Series], path: str, part: slice, value: ArrayLike) -> None:
    """Other values for a while."""
    values = signals[path].value.copy()
    values[part] = value
    signals[path] = Series(signals[path].time_ns, values, signals[path].quality)


def test_a_stall_is_found_within_ten_seconds():
    """common practice, no source: ten seconds."""
    began, ended = found(WiperStalled, stalled(1500))
    assert 1500 < seconds_of(began.time_ns) <= 1510 and began.priority is Priority.HIGH
    assert "100 % torque and does not turn" in began.sentence and not ended.active


@pytest.mark.parametrize("change", ["it turns", "low torque", "not driven"])
def test_what_is_no_stall(change: str):
    signals = stalled(1500)
    part = slice(1500, 1530)
    path, value = {
        "it turns": ("filter.wiper.angle.pv", np.arange(30) * 20.0 % 360),
        "low torque": ("filter.wiper.torque.pv", 60.0),
        "not driven": ("filter.wiper.state", 0.0),
    }[change]
    put(signals, path, part, value)
    assert found(WiperStalled, signals) == []


def test_usual_cleanings_are_none():
    signals = made(saw([USUAL] * 12))
    assert found(WiperStalled, signals) == [] and found(WiperPark, signals) == []


def test_a_wiper_that_rests_outside_its_park_window_is_found_within_fifteen_seconds():
    """common practice, no source: fifteen seconds after it came to rest, and that it is a finding at all."""
    began, ended = found(WiperPark, not_parked(1430))
    assert 1430 <= seconds_of(began.time_ns) <= 1450 and began.subject == "filter.wiper"
    assert "25 deg beside its park" in began.sentence and not ended.active


def test_before_melt_starts_it_is_found_too():
    signals = not_parked(300, 650)
    for path in ("doser.rate.pv", "extruder.screw.speed.pv"):
        put(signals, path, slice(0, 690), 0.0)
    began, *_ = found(WiperPark, signals)
    assert 300 <= seconds_of(began.time_ns) <= 320


@pytest.mark.parametrize("off_deg", [0.0, 4.0, 357.0])
def test_within_the_window_is_none(off_deg: float):
    signals = not_parked(1430, off_deg=off_deg)
    put(signals, "filter.wiper.park.state", slice(1430, 1530), 1.0)
    assert found(WiperPark, signals) == []


def test_a_dead_park_sensor_is_told_from_a_wrong_position():
    signals = not_parked(1430, off_deg=0.0)
    began, *_ = found(WiperPark, signals)
    assert began.subject == "filter.wiper.park" and "most likely the sensor" in began.sentence


def test_a_wiper_beside_its_park_is_told_within_a_quarter_of_a_minute_wherever_the_tens_begin():
    """common practice, no source: fifteen seconds."""
    for end_s in range(1423, 1433):
        signals = not_parked()
        for path, value in (("filter.wiper.state", 1.0), ("filter.wiper.park.state", 0.0)):
            put(signals, path, slice(end_s - 19, end_s), value)
        rests = slice(end_s, 1530)
        put(signals, "filter.wiper.state", rests, 0.0)
        put(signals, "filter.wiper.angle.pv", rests, 25.0)
        put(signals, "filter.wiper.park.state", rests, 0.0)
        (began, *_) = found(WiperPark, signals)
        assert end_s + 10 <= seconds_of(began.time_ns) <= end_s + 15
