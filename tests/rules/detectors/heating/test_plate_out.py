"""A plate taken out is said at once, with what is expected of it; a second one is graver."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rules.detectors.heating.plate_out import PlateOut
from rules.finding import Finding, Priority
from rules.line import LineFacts
from tests.rules.detectors.heating.days import plate_taken_out
from tests.rules.detectors.heating.made import Switched, judged, running
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.signals import seconds_of, states


def permitted(number: int) -> LineFacts:
    assert FACTS.melt_filter is not None
    return replace(FACTS, melt_filter=replace(FACTS.melt_filter, plates_out_permitted=number))


def test_a_plate_taken_out_is_said_at_the_switch():
    began, ended = judged(PlateOut, plate_taken_out())
    assert states([began, ended]) == [("filter.plate.3", True), ("filter.plate.3", False)]
    assert seconds_of(began.time_ns) == 600
    assert "seven of eight plates heat" in began.sentence
    assert "does not say that a plate may be out" in began.sentence


def test_where_it_will_settle_is_the_closed_form_of_such_a_plate():
    # 188 Cel with melt at the set-point: process.heaters, worked by hand in the dossier of this trade (C9).
    began = judged(PlateOut, plate_taken_out())[0]
    settles, unit = began.evidence.figures["expected to settle at"]
    assert unit == "Cel" and settles == pytest.approx(188, abs=4)


@pytest.mark.parametrize(("number", "priority"), [(0, Priority.MEDIUM), (1, Priority.LOW)])
def test_what_the_file_permits_decides_how_grave_it_is(number: int, priority: Priority):
    assert judged(PlateOut, plate_taken_out(), permitted(number))[0].priority is priority


def two_out() -> list[Finding]:
    plates = Switched(1200)
    plates.enabled[2, 600:] = 0.0
    plates.enabled[6, 800:] = 0.0
    return judged(PlateOut, plates.made(), permitted(1))


def test_a_second_plate_taken_out_is_high_though_one_is_permitted():
    first, second = two_out()
    assert (first.priority, second.priority) == (Priority.LOW, Priority.HIGH)
    assert "second plate out, more than the line's file permits" in second.sentence


def test_a_second_plate_that_loses_its_current_is_high():
    plates = Switched(1500)
    plates.enabled[2, 600:] = 0.0
    plates.share[5, 900:] = 0.0
    _, second = judged(PlateOut, plates.made(), permitted(1))
    assert (second.subject, second.priority) == ("filter.plate.second", Priority.HIGH)
    assert 960 <= seconds_of(second.time_ns) <= 1010
    assert "plate 6 gets no current while plate 3 is out" in second.sentence.lower()


def test_neighbours_at_their_end_are_said():
    plates = Switched(2400)
    plates.enabled[2, 600:] = 0.0
    plates.out[3, 700:] = 92.0
    _, found = judged(PlateOut, plates.made(), permitted(1))
    assert (found.subject, found.priority) == ("filter.plate.beside", Priority.MEDIUM)
    assert seconds_of(found.time_ns) >= 1300
    assert "92 %" in found.sentence


def test_a_plate_that_was_out_from_the_first_second_is_said_too():
    plates = Switched(300)
    plates.enabled[2] = 0.0
    assert states(judged(PlateOut, plates.made())) == [("filter.plate.3", True)]


def test_an_unknown_switch_changes_nothing():
    plates = Switched(1200)
    plates.enabled[2, 600:900] = np.nan
    assert judged(PlateOut, {**plates.made(), **running(1200)}) == []


def rests_at(cel: float) -> list[Finding]:
    """A plate that is taken out at ten minutes and falls to that temperature as such plates do."""
    plates = Switched(4800)
    plates.enabled[2, 600:] = 0.0
    since_s = plates.time_s[600:] - 600
    plates.temp[2, 600:] -= (220.0 - cel) * (1 - np.exp(-since_s / 600.0))
    found = judged(PlateOut, {**plates.made(), **running(4800)}, permitted(1))
    return [f for f in found if f.subject == "filter.plate.apart"]


def test_a_plate_out_of_use_that_rests_where_it_was_expected_is_not_said_again():
    assert rests_at(188.0) == []


@pytest.mark.parametrize(("cel", "word"), [(165.0, "colder"), (208.0, "warmer")])
def test_one_that_rests_far_from_where_it_was_expected_is(cel: float, word: str):
    (found,) = rests_at(cel)
    assert found.priority is Priority.LOW and word in found.sentence
    assert seconds_of(found.time_ns) >= 600 + 2400 + 600 - 10
    assert "Whether its probe is right is not known" in found.sentence
