"""The days over which the rules are counted: each its own, none that a rule was tried out on."""

from __future__ import annotations

from benchmarks.rules_cases import BASES, FAULTY, FIRST_SEED, HEALTHY, cases, facts_of, learning_days
from simulator.faults import FAULTS
from simulator.scenarios.file import load_scenario
from simulator.scenarios.variants import variants


def test_every_fault_that_comes_over_a_running_line_has_a_day_of_its_own() -> None:
    listed = cases(quick=False)
    assert len({c.name for c in listed}) == len(listed) == len(BASES) * (FAULTY + HEALTHY) + len(FAULTS) - 2
    alone = {c.scenario.faults[0].fault for c in listed if c.name.startswith("alone-")}
    assert set(FAULTS) - alone == {"soak_short", "cold_start"}


def test_no_day_is_one_that_the_rules_were_tried_out_on() -> None:
    known = {
        s.seed for b in BASES for kind in ("faulty", "healthy") for s in variants(load_scenario(b), kind, 10)
    }
    known |= {load_scenario(b).seed for b in BASES}
    ours = {c.scenario.seed for c in cases(quick=False)} | {c.scenario.seed for c in cases(quick=True)}
    assert not ours & known
    assert not {s.seed for s in learning_days().values()} & ours
    assert min(load_scenario(b).seed for b in BASES) != FIRST_SEED


def test_a_quick_day_ends_after_two_hours_and_holds_nothing_later() -> None:
    for case in cases(quick=True):
        assert case.scenario.duration_s == 7200.0
        assert all(f.onset_s < 7200.0 for f in case.scenario.faults)
        assert all(x.until_s <= 7200.0 for x in case.scenario.labels)


def test_a_single_fault_has_time_to_be_found() -> None:
    for case in cases(quick=False):
        if case.name.startswith("alone-"):
            (order,) = case.scenario.faults
            assert all(x.must_stay_quiet for x in case.scenario.labels)
            due_s = FAULTS[order.fault].must_detect_within_s or 0.0
            assert case.scenario.duration_s >= order.onset_s + due_s + 900.0


def test_the_line_is_known_as_its_scenario_has_it() -> None:
    film = next(c for c in cases(quick=False) if c.base == "film_agglomerate")
    facts = facts_of(film)
    assert facts.melt_filter is not None
    assert (facts.melt_filter.plates, facts.melt_filter.trigger_dp_bar, facts.melt_filter.heater_a) == (
        8,
        45.0,
        6.0,
    )
    inlet = next(c for c in cases(quick=False) if c.base == "yoghurt_cups")
    assert facts_of(inlet).melt_filter is not None and facts_of(inlet).melt_filter.trigger_dp_bar is None
