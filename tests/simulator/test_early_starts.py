"""Whether a start that the scenario calls early was early on this plant: by the clock of its own controls."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest

from historian.frame import NS
from simulator.course import Run
from simulator.early_starts import UNCERTAIN_S, EarlyStarts
from simulator.gauges import signals_of
from simulator.scenarios.file import load_scenario
from simulator.scenarios.scenario import Label, Scenario
from simulator.scenarios.variants import named_variant
from simulator.truth import first_visible_s, truth_entries

T0_NS = 1_900_000_000 * NS
STATE = "filter.wiper.state"
JOG = Label("jog", "jogged early", 100.0, 200.0, fault="soak_short", tags=(STATE,), expected_severity=3)


def _seen(soaked_s: float, moves: Callable[[int], bool], labels: Sequence[Label] = (JOG,)) -> dict[str, int]:
    """Ten minutes of a plant that has soaked so long, and whose wiper moves when it is told to."""
    starts = EarlyStarts(labels)
    control = SimpleNamespace(design=SimpleNamespace(soak_s=1800.0), soak=SimpleNamespace(seconds=soaked_s))
    plant: Any = SimpleNamespace(control=control)
    for now in range(600):
        state = SimpleNamespace(path=STATE, read=lambda now=now: 2.0 if moves(now) else 0.0)
        starts.look(now, plant, lambda _plant, state=state: [state])  # type: ignore[misc]
    assert not starts.waiting
    return starts.seen


def _jogged(now: int) -> bool:
    return 103 <= now < 110


def test_a_wiper_that_moves_in_a_short_soak_is_seen_when_it_moves() -> None:
    assert _seen(0.0, _jogged) == {"jog": 103}


@pytest.mark.parametrize(
    ("missing_s", "early"), [(UNCERTAIN_S + 1.0, True), (UNCERTAIN_S, False), (-300.0, False)]
)
def test_what_lacks_no_more_than_clocks_differ_by_is_not_early(missing_s: float, early: bool) -> None:
    assert bool(_seen(1800.0 - missing_s, _jogged)) is early


def test_a_start_that_was_refused_is_none() -> None:
    assert _seen(0.0, lambda _now: False) == {}


def test_a_start_outside_the_label_is_not_the_labels() -> None:
    assert _seen(0.0, lambda now: now < 90 or now > 300) == {}


def test_other_labels_and_injected_faults_are_passed_over() -> None:
    assert _seen(0.0, _jogged, [replace(JOG, fault="cold_start")]) == {}
    assert not EarlyStarts([JOG], injected=["jog"]).waiting


def _film(variant: str | None) -> Scenario:
    scenario = load_scenario("film_agglomerate")
    chosen = scenario if variant is None else named_variant(scenario, variant)
    # A plate that has lost an element is what makes the film line's heat-up slow.
    faults = tuple(f for f in chosen.faults if f.onset_s < 5000.0)
    return replace(chosen, duration_s=5100.0, faults=faults)


@pytest.mark.parametrize(("variant", "early"), [(None, True), ("healthy:1", False)])
def test_the_same_jog_is_early_on_a_slow_plant_and_in_time_on_a_fast_one(
    variant: str | None, early: bool
) -> None:
    scenario = _film(variant)
    seen = first_visible_s(scenario, Run, signals_of)
    entry = next(e for e in truth_entries(scenario, seen, T0_NS) if e["id"] == "GT-L2")
    assert entry["first_visible_ns"] == (T0_NS + 5041 * NS if early else None)
    run = Run(scenario)
    run.advance(5040)
    assert (run.plant.control.soak.seconds < 1800.0 - UNCERTAIN_S) is early
