"""A starved screw is found by command and consequence; its look-alikes are not taken for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.detectors.extrusion.starved import FeedStarved
from rules.line import RuleSetting
from tests.rules.detectors.extrusion.days import AT_S, starved
from tests.rules.detectors.extrusion.made import FACTS, EvenLine, begun_s, judged


def test_is_found_within_two_minutes_with_its_figures():
    began, ended = judged(FeedStarved, starved())
    assert AT_S + 30 <= begun_s([began]) <= AT_S + 120
    assert "468 kg/h" in began.sentence or "the feed is 4" in began.sentence
    assert began.evidence.figures["feed"][0] == pytest.approx(468, abs=15)
    assert began.evidence.figures["usual torque"][0] == pytest.approx(64, abs=0.5)
    assert "is not known" in began.sentence
    assert not ended.active and AT_S + 360 <= begun_s([ended]) <= AT_S + 480


def test_a_thinner_melt_lowers_the_pressure_but_hardly_the_torque():
    line = EvenLine()
    line.pressures(0.75, AT_S)
    line.scale("extruder.drive.torque.pv", 0.95, AT_S)
    assert judged(FeedStarved, line) == []


def test_a_feed_that_is_short_while_the_torque_stays_is_the_affair_of_the_scale():
    line = EvenLine()
    line.scale("doser.rate.pv", 0.6, AT_S)
    assert judged(FeedStarved, line) == []


def test_a_refill_is_noisy_and_no_lack():
    line = EvenLine()
    part = slice(AT_S, AT_S + 90)
    line.value["doser.refill.state"][part] = 1.0
    line.value["doser.mode.state"][part] = 3.0
    line.scale("doser.rate.pv", 0.7, AT_S, AT_S + 90)
    assert judged(FeedStarved, line) == []


def test_less_feed_that_is_asked_for_is_no_lack():
    line = EvenLine()
    for path in ("doser.rate.pv", "doser.rate.sp", "extruder.drive.torque.pv"):
        line.scale(path, 0.7, AT_S)
    line.pressures(0.85, AT_S)
    assert judged(FeedStarved, line) == []


def test_a_bridge_below_the_doser_shows_in_torque_and_die_pressure_alone():
    line = EvenLine()
    line.scale("extruder.drive.torque.pv", 0.7, AT_S)
    line.pressures(0.8, AT_S + 40)
    (began,) = judged(FeedStarved, line)
    assert AT_S + 60 <= begun_s([began]) <= AT_S + 120
    assert "kg/h are set" not in began.sentence


def test_a_doser_without_a_scale_goes_by_torque_and_die_pressure():
    line = starved()
    line.value["doser.mode.state"][:] = 3.0
    assert begun_s(judged(FeedStarved, line)) <= AT_S + 150


def test_nothing_at_all_comes_and_the_line_does_not_count_as_standing():
    line = EvenLine()
    line.scale("doser.rate.pv", 0.0, AT_S)
    line.scale("extruder.drive.torque.pv", 0.2, AT_S + 20)
    found = judged(FeedStarved, line)
    assert [f.active for f in found] == [True]


def test_ends_when_feed_and_screw_are_switched_off():
    line = starved()
    line.value["doser.rate.sp"][AT_S + 200 :] = 0.0
    found = judged(FeedStarved, line)
    assert [f.active for f in found] == [True, False]
    assert "Whether the cause is gone is not known" in found[1].sentence


def test_the_file_sets_the_numbers():
    facts = replace(FACTS, rules={"feed-starved": RuleSetting(numbers={"feed_share": 0.5, "die_share": 0.5})})
    assert judged(FeedStarved, starved(), facts) == []


@settings(max_examples=8, deadline=None)
@given(held_s=st.integers(2, 12).map(lambda n: 10 * n), short=st.sampled_from((-10, 10)))
def test_the_on_delay_is_exact(held_s: int, short: int):
    """No finding when the lack lasts as long as the delay less ten seconds, one when it lasts longer."""
    facts = replace(FACTS, rules={"feed-starved": RuleSetting(numbers={"held_s": float(held_s)})})
    line = EvenLine()
    until_s = AT_S + held_s + 10 + short
    line.scale("doser.rate.pv", 0.5, AT_S, until_s)
    line.scale("extruder.drive.torque.pv", 0.5, AT_S, until_s)
    assert any(f.active for f in judged(FeedStarved, line, facts)) is (short > 0)


def test_a_dip_begins_the_delay_anew():
    line = EvenLine()
    for from_s in range(AT_S, AT_S + 300, 30):
        line.scale("doser.rate.pv", 0.5, from_s, from_s + 20)
        line.scale("extruder.drive.torque.pv", 0.5, from_s, from_s + 20)
    assert judged(FeedStarved, line) == []


@pytest.mark.parametrize("seed", range(5))
def test_an_even_day_is_no_lack(seed: int):
    assert judged(FeedStarved, EvenLine(seed=seed)) == []


def test_it_works_where_a_signal_is_missing():
    line = starved()
    assert begun_s(judged(FeedStarved, line, without=("extruder.drive.torque.pv",))) <= AT_S + 120
    assert begun_s(judged(FeedStarved, line, without=("doser.rate.pv", "doser.rate.sp"))) <= AT_S + 180
    line.value["extruder.screw.speed.pv"][:] = np.nan
    assert judged(FeedStarved, line) == []
