"""The laboratory: the truth with its scatter, late, and always the same."""

from __future__ import annotations

import statistics
from dataclasses import fields, replace
from math import isnan

import pytest

from simulator.people.laboratory import MEASURES, PELLETS_COUNTED, Truth, result_of
from simulator.scenarios.scenario import Sample

T0_NS = 1_900_000_000_000_000_000
TRUTH = Truth(
    length_mm=3.0,
    mass_mg=16.85,
    tails_percent=1.2,
    agglomerates_percent=0.2,
    moisture_percent=0.08,
    mfr_g_10min=1.1,
    ash_percent=0.86,
    dirt_ppm=3600.0,
    dirt_percent=47.0,
    bulk_density_kg_m3=290.0,
)
ALL = tuple(name for name, m in MEASURES.items() if "pellets" in m.places)
SAMPLE = Sample("P1", 3600.0, "pellets", ALL, 5700.5)


def _value(name: str, truth: Truth = TRUTH, *, seed: int = 1, bag: str = "P1") -> float:
    event = result_of(replace(SAMPLE, bag=bag), truth, seed=seed, t0_ns=T0_NS)
    return float(event.data["values"][name]["value"])


def test_the_event_has_both_times_and_comes_with_the_results() -> None:
    event = result_of(SAMPLE, TRUTH, seed=1, t0_ns=T0_NS)
    assert event.time_ns == event.data["result_ns"] == T0_NS + 5_700_500_000_000
    assert event.data["sample_ns"] == T0_NS + 3_600_000_000_000
    assert (event.source, event.kind) == ("laboratory", "lab-result")
    assert set(event.data["values"]) == set(ALL)
    assert event.text.startswith("bag P1 (pellets): pellet length ")


def test_it_measures_the_same_bag_the_same_and_another_one_otherwise() -> None:
    assert result_of(SAMPLE, TRUTH, seed=1, t0_ns=T0_NS) == result_of(SAMPLE, TRUTH, seed=1, t0_ns=T0_NS)
    assert _value("mfr", bag="P2") != _value("mfr")
    assert _value("mfr", seed=2) != _value("mfr")
    # One measure's scatter does not depend on what else is measured.
    alone = result_of(replace(SAMPLE, measures=("mfr",)), TRUTH, seed=1, t0_ns=T0_NS)
    assert alone.data["values"]["mfr"]["value"] == _value("mfr")


@pytest.mark.parametrize("name", ["length", "mass10", "moisture", "mfr", "ash"])
def test_results_scatter_about_the_truth_as_much_as_is_said(name: str) -> None:
    measure = MEASURES[name]
    real = measure.gain * getattr(TRUTH, measure.of)
    said = ((measure.relative * real) ** 2 + measure.absolute**2) ** 0.5
    shown = [_value(name, bag=f"P{n}") for n in range(400)]
    # 400 results: the mean within 4 standard errors, the deviation within four of its own.
    assert statistics.fmean(shown) == pytest.approx(real, abs=4 * said / 20 + 0.5 * 10.0**-measure.decimals)
    assert statistics.stdev(shown) == pytest.approx(said, rel=4 / 800**0.5, abs=0.3 * 10.0**-measure.decimals)


def test_what_is_counted_is_a_whole_number_of_pellets_or_specks() -> None:
    tails = [_value("tails", bag=f"P{n}") for n in range(300)]
    assert all((t * PELLETS_COUNTED / 100) % 1 == pytest.approx(0.0, abs=1e-9) for t in tails)
    assert statistics.fmean(tails) == pytest.approx(1.2, abs=4 * (1.2 * 98.8 / 500 / 300) ** 0.5)
    specks = [_value("specks", bag=f"P{n}") for n in range(300)]
    assert all(s == int(s) for s in specks)
    assert statistics.fmean(specks) == pytest.approx(360.0, abs=4 * (360 / 300) ** 0.5)


def test_what_is_not_there_is_left_out() -> None:
    event = result_of(SAMPLE, Truth(mfr_g_10min=1.1), seed=1, t0_ns=T0_NS)
    assert set(event.data["values"]) == {"mfr"}
    empty = result_of(SAMPLE, Truth(), seed=1, t0_ns=T0_NS)
    assert empty.data["values"] == {}
    assert empty.text.endswith("nothing to measure in it")


def test_no_result_is_below_nothing_and_none_above_everything() -> None:
    dry = replace(TRUTH, moisture_percent=0.0, tails_percent=0.0)
    assert min(_value("moisture", dry, bag=f"P{n}") for n in range(100)) == 0.0
    assert _value("tails", dry) == 0.0
    assert _value("tails", replace(TRUTH, tails_percent=130.0)) == 100.0


def test_every_measure_shows_a_field_of_the_truth() -> None:
    names = {field.name for field in fields(Truth)}
    assert {m.of for m in MEASURES.values()} == names
    assert all(isnan(getattr(Truth(), name)) for name in names)
