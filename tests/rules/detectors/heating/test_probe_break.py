"""A broken or loose thermocouple is said within seconds; a lost source and a hot zone are not taken for one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.frame import Series
from historian.quality import NO_DATA, SENSOR_FAILURE
from rules.detectors.heating.probe_break import ProbeBreak
from rules.finding import Priority
from rules.line import RuleSetting
from tests.rules.detectors.heating.days import probe_broken
from tests.rules.detectors.heating.made import Switched, judged
from tests.rules.detectors.plants import FACTS, Plates
from tests.rules.detectors.signals import T0_NS, seconds_of, states

PATH = "filter.plate.5.temp.pv"


def test_a_reading_at_the_end_of_its_range_is_a_broken_wire():
    began, ended = judged(ProbeBreak, probe_broken())
    assert states([began, ended]) == [("filter.plate.5", True), ("filter.plate.5", False)]
    assert began.priority is Priority.MEDIUM
    assert seconds_of(began.time_ns) - 600 <= 5  # the dossier of this trade, B4
    assert "shows 1200 Cel" in began.sentence
    assert "33 % held it at its set-point before" in began.sentence
    assert seconds_of(ended.time_ns) == 780  # a minute of temperatures


def with_quality(signals: dict[str, Series], code: int, at_s: int, until_s: int) -> dict[str, Series]:
    """The probe of plate 5 with bad samples in between, which keep their value."""
    one = signals[PATH]
    after_s = (one.time_ns - T0_NS) / 1e9
    quality = np.where((after_s >= at_s) & (after_s < until_s), code, 0)
    return {**signals, PATH: Series.of(one.time_ns, one.value, quality)}


def test_samples_that_the_controller_marks_bad_are_a_broken_wire_too():
    signals = with_quality(Plates(900).made(), SENSOR_FAILURE, 600, 700)
    found = judged(ProbeBreak, signals)
    assert states(found) == [("filter.plate.5", True), ("filter.plate.5", False)]
    assert seconds_of(found[0].time_ns) <= 605


def test_a_lost_source_is_no_broken_wire():
    assert judged(ProbeBreak, with_quality(Plates(900).made(), NO_DATA, 600, 700)) == []


def test_a_wire_that_comes_and_goes_is_loose():
    plates = Switched(2000)
    for at in (600, 645, 690, 760):
        plates.temp[4, at : at + 2] = 1200.0
    found = judged(ProbeBreak, plates.made())
    assert states(found) == [("filter.plate.5", True), ("filter.plate.5", False)]
    assert "has come and gone 3 times" in found[0].sentence and "loose contact" in found[0].sentence
    assert seconds_of(found[0].time_ns) == 690
    assert seconds_of(found[1].time_ns) >= 760 + 600  # ten minutes without


def test_one_sample_beyond_reason_is_not_yet_a_break():
    plates = Switched(1200)
    plates.temp[4, 600] = 1200.0
    assert judged(ProbeBreak, plates.made()) == []


@pytest.mark.parametrize("rate_k_min", [5.0, 30.0])
def test_a_zone_that_heats_is_no_broken_wire(rate_k_min: float):
    plates = Plates(1500)
    plates.heat_up(rates=dict.fromkeys(range(1, 9), rate_k_min))
    assert judged(ProbeBreak, plates.made()) == []


def test_a_pause_over_which_a_zone_cooled_is_no_leap():
    plates = Plates(2000)
    plates.temp[:, 800:] -= 45.0
    kept = {p: _without(s, 600, 800) for p, s in plates.made().items()}
    assert judged(ProbeBreak, kept) == []


def _without(one: Series, at_s: int, until_s: int) -> Series:
    after_s = (one.time_ns - T0_NS) / 1e9
    kept = (after_s < at_s) | (after_s >= until_s)
    return Series(one.time_ns[kept], one.value[kept], one.quality[kept])


@settings(max_examples=12, deadline=None)
@given(held_s=st.integers(1, 30), longer=st.booleans())
def test_the_on_delay_is_exact(held_s: int, longer: bool):
    facts = replace(FACTS, rules={"probe-break": RuleSetting(numbers={"held_s": float(held_s)})})
    plates = Plates(700, with_current=False)
    # A spell of n samples spans n - 1 seconds.
    plates.temp[4, 600 : 600 + held_s + longer] = 1200.0
    found = judged(ProbeBreak, plates.made(), facts)
    assert [seconds_of(f.time_ns) for f in found if f.active] == ([600.0 + held_s] if longer else [])


@settings(max_examples=8, deadline=None)
@given(place=st.integers(1, 8))
def test_another_plate_gives_the_same_finding_of_that_plate(place: int):
    plates = Plates(800, with_current=False)
    plates.temp[place - 1, 600:700] = 1200.0
    found = judged(ProbeBreak, plates.made())
    assert [(f.subject, f.active, seconds_of(f.time_ns)) for f in found] == [
        (f"filter.plate.{place}", True, 602.0),
        (f"filter.plate.{place}", False, 760.0),
    ]
