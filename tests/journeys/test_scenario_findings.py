"""The simulated trial day through the detectors: its faults are found, and nothing where nothing is wrong."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from historian.frame import NS, Frame
from historian.tags import Tag
from rules.block import Block
from rules.detectors import detectors_for
from rules.finding import Finding, Priority
from rules.line import LineFacts, MeltFilter
from simulator.run import batch, published_tags, truth
from simulator.scenarios.file import load_scenario
from simulator.scenarios.scenario import Scenario

T0_NS = 1_900_000_000 * NS
MINUTE_NS = 60 * NS
SEEDS = (20311, 3)

FACTS = LineFacts(
    "trial day",
    MeltFilter(plates=8, trigger_dp_bar=45.0, trigger_held_s=4.0, max_interval_s=540.0, heater_a=6.0),
    barrel_zones=5,
    planned_kg_h=640.0,
)


@cache
def day(seed: int, *, faults: bool) -> tuple[dict[str, Tag], list[Frame]]:
    """The day's frames of one minute, and the tags."""
    scenario = _scenario(seed, faults=faults)
    tags = {t.path: replace(t, id=i + 1) for i, t in enumerate(published_tags(scenario))}
    return tags, list(batch(scenario, tags, T0_NS))


def _scenario(seed: int, *, faults: bool) -> Scenario:
    scenario = replace(load_scenario("trial_day"), seed=seed)
    return scenario if faults else scenario.without_faults()


@cache
def judged(
    seed: int,
    *,
    faults: bool,
    minutes: range = range(300),
    without: str = "",
    second_by_second: tuple[int, ...] = (),
) -> tuple[Finding, ...]:
    """What the detectors say of the day.

    Args:
        minutes: which part of it they see.
        without: tags with this ending are not there.
        second_by_second: minutes whose frames are cut into seconds, as they would come live.
    """
    tags, frames = day(seed, faults=faults)
    kept = {p: t for p, t in tags.items() if not without or not p.endswith(without)}
    paths = {t.id: p for p, t in kept.items()}
    detectors = detectors_for(FACTS, kept)
    found: list[Finding] = []
    for minute, frame in zip(minutes, frames[minutes.start : minutes.stop], strict=True):
        for part in _seconds(frame) if minute in second_by_second else [frame]:
            block = Block.of(part, paths)
            for detector in detectors:
                said = [*detector.update(block), *detector.advance(part.arrival_ns + NS)]
                found.extend(f for f in said if isinstance(f, Finding) and f.priority > Priority.JOURNAL)
    return tuple(found)


def _seconds(frame: Frame) -> Iterator[Frame]:
    second = frame.time_ns // NS
    for one in np.unique(second):
        at = second == one
        columns = (frame.tag[at], frame.time_ns[at], frame.value[at], frame.quality[at])
        yield Frame(*columns, int(frame.time_ns[at].max()))


def began(found: Sequence[Finding], rule: str) -> Finding:
    return next(f for f in found if f.rule == rule and f.active)


def onset_ns(seed: int, fault: str) -> int:
    (only,) = (t for t in known_truth(seed) if t["id"] == fault)
    return int(only["first_visible_ns"])


@cache
def known_truth(seed: int) -> list[dict[str, Any]]:
    """What really goes wrong."""
    return truth(_scenario(seed, faults=True), T0_NS)


@pytest.mark.parametrize("seed", SEEDS)
def test_nothing_is_found_where_nothing_is_wrong(seed: int):
    assert judged(seed, faults=False) == ()


@pytest.mark.long
@pytest.mark.parametrize("seed", range(100, 120))
def test_nothing_is_found_on_many_sound_days(seed: int):
    assert judged(seed, faults=False) == ()


@pytest.mark.long
@pytest.mark.parametrize("seed", range(100, 110))
def test_each_fault_is_found_on_many_days(seed: int):
    check_all_found(seed, judged(seed, faults=True))


def test_each_fault_is_found_in_time_and_nothing_else():
    check_all_found(SEEDS[0], judged(SEEDS[0], faults=True))


def check_all_found(seed: int, found: tuple[Finding, ...]) -> None:
    expected = {
        ("heater-power", "filter.plate.5"),
        ("pressure-creep", "filter.screen"),
        ("cleaning-overdue", "filter.wiper"),
    }
    assert {(f.rule, f.subject) for f in found} >= expected
    others = [f for f in found if (f.rule, f.subject) not in expected and f.active]
    # The bar: none that calls somebody soon, and one of low priority in four hours.
    assert [f for f in others if f.priority > Priority.LOW] == [] and len(others) <= 1
    plate, creep, overdue = (began(found, r) for r in ("heater-power", "pressure-creep", "cleaning-overdue"))
    assert 0 <= plate.time_ns - onset_ns(seed, "plate-5") <= MINUTE_NS
    assert plate.priority is Priority.MEDIUM
    assert 0 <= overdue.time_ns - onset_ns(seed, "skipped-cleaning") <= 2 * MINUTE_NS
    # The blinding itself takes ten minutes to grow.
    assert 0 < creep.time_ns - onset_ns(seed, "blinding") <= 45 * MINUTE_NS
    assert creep.evidence.figures["at least"][0] > 0.5


def test_the_cleaning_by_hand_ends_the_overdue_one():
    found = [f for f in judged(SEEDS[0], faults=True) if f.rule == "cleaning-overdue"]
    assert [f.active for f in found] == [True, False]
    assert (found[1].time_ns - T0_NS) / MINUTE_NS == pytest.approx(156.4, abs=0.2)


def test_the_plate_is_found_within_six_minutes_without_currents():
    found = judged(SEEDS[0], faults=True, minutes=range(190, 260), without=".i")
    plate = began(found, "heater-power")
    assert plate.subject == "filter.plate.5"
    assert 0 <= plate.time_ns - onset_ns(SEEDS[0], "plate-5") <= 6 * MINUTE_NS
    assert {f.subject for f in found if f.rule == "heater-power"} == {"filter.plate.5"}


def test_live_seconds_give_what_minutes_give():
    minutes = range(140, 245)
    live = judged(SEEDS[0], faults=True, minutes=minutes, second_by_second=(151, 152, 204, 240, 241, 242))
    assert {f.rule for f in live} >= {"heater-power", "pressure-creep", "cleaning-overdue"}
    assert live == judged(SEEDS[0], faults=True, minutes=minutes)
