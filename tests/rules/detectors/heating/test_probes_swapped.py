"""Two zones that answer each other's heaters are found; burnt-out, stuck and slipped ones are not taken for them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.frame import Series
from rules.detectors.heating.probes_swapped import ProbesSwapped
from rules.finding import Finding, Priority
from tests.rules.detectors.heating import days
from tests.rules.detectors.heating.made import Switched, judged, running
from tests.rules.detectors.plants import changes
from tests.rules.detectors.signals import seconds_of, series, states


def found(signals: dict[str, Series]) -> list[Finding]:
    return judged(ProbesSwapped, signals)


def test_two_plates_whose_probes_are_swapped_are_named():
    began, ended = found(days.probes_crossed())
    assert states([began, ended]) == [("filter.plate.3", True), ("filter.plate.3", False)]
    assert began.priority is Priority.HIGH
    assert 720 <= seconds_of(began.time_ns) < 1020
    assert "Plate 3 has read" in began.sentence and "plate 6" in began.sentence
    assert {"filter.plate.3.temp.pv", "filter.plate.6.temp.pv"} <= set(began.evidence.tags)
    assert seconds_of(began.onset_ns) >= 600


@settings(max_examples=10, deadline=None)
@given(st.permutations(range(1, 9)))
def test_plates_that_are_numbered_otherwise_are_named_by_those_numbers(order: list[int]):
    """Signals of plate n are given those of plate order[n - 1]: the findings change their names alike."""
    signals = days.probes_crossed()
    moved = {}
    for path, one in signals.items():
        head, number, rest = path.split(".", 3)[0], int(path.split(".")[2]), path.split(".", 3)[3]
        moved[f"{head}.plate.{order[number - 1]}.{rest}"] = one
    assert [(f.subject, f.active, f.time_ns) for f in found(moved)] == [
        (f"filter.plate.{order[2]}", f.active, f.time_ns) for f in found(signals)
    ]


@pytest.mark.parametrize("day", [rule for rule in days.DAYS if rule != "probes-swapped"])
def test_other_faults_of_heated_zones_are_not_taken_for_it(day: str):
    assert found(dict(days.DAYS[day]()[1])) == []


def parted(*, falls: tuple[int, ...] = (3,), rises: tuple[int, ...] = (6,), by_k: float = 8.0) -> Switched:
    """Plates that fall at full output, and others that rise without any."""
    plates = Switched(1200)
    way = np.interp(plates.time_s, [600, 900], [0, by_k])
    for plate in falls:
        plates.temp[plate - 1] -= way
        plates.out[plate - 1, 600:] = 100.0
    for plate in rises:
        plates.temp[plate - 1] += way
        plates.out[plate - 1, 600:] = 0.0
    return plates


def test_one_that_falls_and_one_that_rises_are_a_pair():
    assert states(found(parted().made())) == [("filter.plate.3", True)]


@pytest.mark.parametrize(
    "made",
    [
        parted(by_k=4.0),
        parted(rises=()),
        parted(falls=()),
        parted(falls=(2, 3)),
        parted(rises=(6, 7)),
    ],
    ids=["too little", "only falls", "only rises", "two fall", "two rise"],
)
def test_what_is_no_pair_is_none(made: Switched):
    assert found(made.made()) == []


def test_a_heater_without_current_and_one_with_current_unasked_explain_it_otherwise():
    open_one, stuck_one = parted(), parted()
    open_one.share[2, 600:] = 0.0
    stuck_one.stuck[5, 600:] = True
    assert found(open_one.made()) == [] and found(stuck_one.made()) == []


def test_a_changed_set_point_is_no_fault():
    plates = parted()
    plates.setpoint[2, 590:] += 30.0
    plates.setpoint[5, 590:] -= 30.0
    assert found(plates.made()) == []


@pytest.mark.parametrize("runs", [True, False])
def test_barrel_zones_are_judged_only_while_no_melt_runs(runs: bool):
    signals = {}
    for path, one in parted().made().items():
        _, _, number, rest = path.split(".", 3)
        if int(number) <= 6:
            signals[f"extruder.zone.{number}.{rest}"] = one
    time_s = np.arange(1200.0)
    still = {
        "doser.rate.pv": series(time_s, 0.0),
        "doser.rate.sp": changes(time_s, np.zeros(1200)),
        "extruder.screw.speed.pv": series(time_s, 0.0),
    }
    assert bool(found({**signals, **(running(1200) if runs else still)})) is not runs
