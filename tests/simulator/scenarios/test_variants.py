"""Variants of a scenario: other plants and other days, always the same ones."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.errors import WrongInput
from simulator.scenarios.check import mistakes
from simulator.scenarios.file import load_scenario, scenario_names
from simulator.scenarios.scenario import Scenario
from simulator.scenarios.variants import COUNT, named_variant, variant, variants
from simulator.scenarios.variation import FACTORS, drawn, factor


def assert_within_ranges(variation: Mapping[str, float]) -> None:
    for name, value in variation.items():
        one = FACTORS[name]
        assert one.low - 1e-9 <= value <= one.high + 1e-9, name


@pytest.fixture(scope="module")
def film() -> Scenario:
    return load_scenario("film_agglomerate")


@pytest.mark.parametrize("name", scenario_names())
def test_there_are_twenty_of_each_kind_all_different_and_all_possible(name: str) -> None:
    scenario = load_scenario(name)
    made = variants(scenario, "faulty") + variants(scenario, "healthy")
    assert len(made) == 2 * COUNT
    assert len({s.name for s in made}) == len({s.seed for s in made}) == len(made)
    assert len({tuple(sorted(s.variation.items())) for s in made}) == len(made)
    for each in made:
        assert mistakes(each) == []
        assert_within_ranges(each.variation)
        assert set(each.variation) == set(FACTORS)


def test_a_variant_is_the_same_at_every_call(film: Scenario) -> None:
    assert variant(film, "faulty", 7) == variant(film, "faulty", 7) == named_variant(film, "faulty:7")
    assert variant(film, "faulty", 7) != variant(film, "faulty", 8)
    assert variant(replace(film, seed=1), "faulty", 7).variation != variant(film, "faulty", 7).variation


def test_healthy_ones_keep_what_people_do_and_have_no_faults(film: Scenario) -> None:
    for each in variants(film, "healthy"):
        assert each.faults == ()
        assert [s for s in each.steps if s in film.steps] == list(film.steps)
        assert {s.do for s in each.steps if s not in film.steps} == {"screw on"}
        mistakes_left = {x.id for x in each.labels if x.expected_severity is not None}
        assert mistakes_left == {"GT-L2", "start-overridden", "GT-L4-degraded"}
        assert [x.id for x in each.labels if x.must_stay_quiet] == ["NT-1", "NT-2", "NT-3"]


def test_faulty_ones_have_every_fault_elsewhere(film: Scenario) -> None:
    made = variants(film, "faulty")
    before = {f.id: f for f in film.faults}
    for each in made:
        assert [f.id for f in each.faults] == list(before)
        for new in each.faults:
            old = before[new.id]
            assert new.fault == old.fault
            assert abs(new.onset_s - old.onset_s) <= 600.0
            assert 0.0 < new.severity <= min(1.0, 1.3 * old.severity + 1e-9)
            assert new.end_s == old.end_s
    moved = {f.onset_s for each in made for f in each.faults if f.id == "GT-L3"}
    assert len(moved) > COUNT // 2
    assert len({f.place for each in made for f in each.faults if f.id == "GT-L4"}) > 3
    assert len({f.severity for each in made for f in each.faults if f.id == "GT-L7"}) > COUNT // 2


def test_the_label_and_what_the_operator_does_go_with_the_fault(film: Scenario) -> None:
    for each in variants(film, "faulty"):
        fault = next(f for f in each.faults if f.id == "GT-L4")
        label = next(x for x in each.labels if x.id == "GT-L4")
        assert label.from_s == fault.onset_s
        assert label.until_s == 290 * 60.0
        assert f"filter.plate.{fault.place}.temp.pv" in label.tags
        assert {s.place for s in each.steps if s.do in ("take out", "put back")} == {fault.place}
        # Seen only when a person confirms the zero state: that does not move with the transducer.
        zero = next(x for x in each.labels if x.id == "GT-L8")
        assert zero.from_s == 528 * 60.0


def test_no_fault_moves_into_a_stretch_that_must_stay_quiet() -> None:
    for name in scenario_names():
        scenario = load_scenario(name)
        spared = [x for x in scenario.labels if x.must_stay_quiet]
        before = {f.id: f.onset_s for f in scenario.faults}
        for each in variants(scenario, "faulty"):
            for order in each.faults:
                if order.onset_s != before[order.id]:
                    assert not [x for x in spared if x.from_s <= order.onset_s < x.until_s]


def test_two_plates_never_fail_at_one_place(film: Scenario) -> None:
    for each in variants(film, "faulty"):
        places = [f.place for f in each.faults if f.place is not None]
        assert len(places) == len(set(places)) == 2


@given(st.integers(0, 2**31), st.text(max_size=12), st.integers(1, 1000))
def test_a_drawn_plant_lies_within_the_ranges(seed: int, name: str, number: int) -> None:
    numbers = drawn(seed, name, number)
    assert_within_ranges(numbers)
    assert numbers == drawn(seed, name, number)


def test_the_ranges_hold_the_plant_as_described_and_reach_well_beyond_it() -> None:
    for name, one in FACTORS.items():
        assert one.low <= one.usual <= one.high, name
        assert one.low < one.high, name
        if one.scales:
            assert one.usual == 1.0
    for name in ("heater.power", "heater.capacity", "heater.loss", "material.dirt", "screen.resistance"):
        assert FACTORS[name].low <= 0.8
        assert FACTORS[name].high >= 1.25


def test_a_factor_is_read_or_usual_and_a_misspelt_one_is_refused() -> None:
    assert factor({"material.dirt": 1.2}, "material.dirt") == 1.2
    assert factor({}, "sampling.period_s") == 1.0
    with pytest.raises(WrongInput, match="no factor 'material\\.dust'"):
        factor({}, "material.dust")


@pytest.mark.parametrize("text", ["", "faulty", "faulty:0", "faulty:-1", "sick:3", "faulty:3:4", "healthy:x"])
def test_what_names_no_variant_is_refused(film: Scenario, text: str) -> None:
    with pytest.raises(WrongInput, match="names no variant"):
        named_variant(film, text)
