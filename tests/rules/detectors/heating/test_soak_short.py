"""A start without the full soak is said at the start, with the minutes that are missing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.frame import Series
from rules.detectors.heating.soak_short import SoakShort
from rules.finding import Priority
from rules.line import LineFacts, RuleSetting
from tests.rules.detectors.heating.days import started_cold
from tests.rules.detectors.heating.made import Switched, judged, running
from tests.rules.detectors.plants import FACTS, Plates, changes
from tests.rules.detectors.signals import seconds_of

ARRIVED_S = 324  # from 190 Cel at 5 K/min to within 3 K of 220


def soaking(duration_s: int, from_s: int) -> dict[str, Series]:
    """Plates that come to their set-points after five minutes, and a screw that starts."""
    plates = Switched(duration_s)
    plates.heat_up(until_cel=190.0)
    return {**plates.made(), **running(duration_s, from_s)}


def wanting(seconds: float) -> LineFacts:
    return replace(FACTS, rules={"soak-short": RuleSetting(numbers={"soak_s": seconds})})


def test_a_screw_that_starts_too_early_is_said_with_what_is_missing():
    (found,) = judged(SoakShort, started_cold())
    assert (found.subject, found.priority, found.momentary) == ("extruder.screw", Priority.MEDIUM, True)
    assert seconds_of(found.time_ns) - 800 <= 10  # the dossier of this trade, B7
    missing = (1800 - (800 - ARRIVED_S)) / 60
    assert found.evidence.figures["missing"][0] == pytest.approx(missing, abs=0.5)
    assert "22 min of 30 are missing" in found.sentence


def test_a_full_soak_is_not_said():
    assert judged(SoakShort, soaking(2400, from_s=2300)) == []


@settings(max_examples=8, deadline=None)
@given(soak_min=st.integers(5, 20), early=st.booleans())
def test_it_is_said_when_and_only_when_minutes_are_missing(soak_min: int, early: bool):
    start_s = ARRIVED_S + 60 * soak_min + (-150 if early else 30)
    found = judged(SoakShort, soaking(1700, start_s), wanting(60.0 * soak_min))
    assert len(found) == early


def test_a_wiper_jogged_while_the_screw_rests_is_said():
    signals = soaking(1500, from_s=9999)
    time_s = np.arange(1500.0)
    signals["filter.wiper.state"] = changes(time_s, np.where((time_s > 900) & (time_s < 920), 2.0, 0.0))
    (found,) = judged(SoakShort, signals)
    assert found.subject == "filter.wiper"
    assert found.sentence.startswith("The wiper was moved")


def test_a_cleaning_while_melt_runs_is_none_of_it():
    signals = soaking(2600, from_s=2300)
    time_s = np.arange(2600.0)
    signals["filter.wiper.state"] = changes(time_s, np.where(time_s % 200 > 180, 1.0, 0.0) * (time_s > 2350))
    assert judged(SoakShort, signals) == []


def test_a_zone_that_falls_far_off_begins_the_soak_anew():
    plates = Switched(2600)
    plates.heat_up(until_cel=190.0)
    plates.temp[4, 1500:1560] -= 12.0
    (found,) = judged(SoakShort, {**plates.made(), **running(2600, from_s=2300)})
    assert found.evidence.figures["soaked"][0] == pytest.approx((2300 - 1560) / 60, abs=0.5)


def test_a_zone_that_is_a_little_off_holds_the_clock():
    plates = Switched(2600)
    plates.heat_up(until_cel=190.0)
    plates.temp[4, 1500:1800] -= 5.5
    (found,) = judged(SoakShort, {**plates.made(), **running(2600, from_s=2200)})
    assert found.evidence.figures["missing"][0] == pytest.approx(
        (1800 - (2200 - ARRIVED_S - 300)) / 60, abs=0.5
    )


def test_a_recording_that_begins_hot_accuses_nobody():
    plates = Plates(900)
    assert judged(SoakShort, {**plates.made(), **running(900, from_s=600)}) == []


def test_a_short_stop_with_the_zones_at_their_set_points_needs_no_new_soak():
    signals = soaking(2690, from_s=2200)
    time_s = np.arange(2690.0)
    turning = (time_s >= 2200) & ~((time_s > 2300) & (time_s < 2500))
    signals["extruder.screw.speed.pv"] = Series.of(
        signals["extruder.screw.speed.pv"].time_ns, np.where(turning, 95.0, 0.0), 0
    )
    assert judged(SoakShort, signals) == []


@pytest.mark.parametrize(
    ("from_cel", "out", "soaked_min", "said"),
    [
        (120.0, True, 15, True),
        (120.0, True, 22, False),
        (120.0, False, 15, False),  # all plates heat
        (190.0, True, 15, False),  # a restart while all is still warm
    ],
)
def test_from_cold_with_a_plate_out_the_soak_doubles(from_cel: float, out: bool, soaked_min: int, said: bool):
    """The dossier of this trade, B8; the line wants ten minutes."""
    start_s = int((217 - from_cel) / 5 * 60) + soaked_min * 60
    plates = Switched(start_s + 60)
    plates.heat_up(until_cel=from_cel)
    if out:
        plates.temp[2] = 150.0
        plates.enabled[2] = 0.0
    found = judged(SoakShort, {**plates.made(), **running(start_s + 60, start_s)}, wanting(600.0))
    assert len(found) == said
    if said:
        assert "5 min of 20 are missing, for a zone is out of use and was cold" in found[0].sentence


def test_a_plate_taken_out_does_not_hold_the_soak_up():
    plates = Switched(2400)
    plates.heat_up(until_cel=190.0)
    plates.temp[2] = 170.0
    plates.enabled[2] = 0.0
    assert judged(SoakShort, {**plates.made(), **running(2400, from_s=2300)}) == []
