"""What is in the laboratory's bags, filled at a line that runs: against what the plant's own balances say."""

from __future__ import annotations

from dataclasses import replace
from math import isnan, pi

import pytest

from historian.event import Event
from simulator.course import Run
from simulator.machines.upsets import Upsets
from simulator.people.bags import Bags, feed_of, pellets_of
from simulator.people.laboratory import MEASURES
from simulator.scenarios.file import load_scenario
from simulator.scenarios.scenario import Lot, MaterialSheet, MeltFlow, Sample, Step

T0_NS = 1_900_000_000_000_000_000
_PELLETS = tuple(n for n, m in MEASURES.items() if "pellets" in m.places)
_SAMPLES = (
    Sample("cold", 600.0, "pellets", _PELLETS, 1200.0),
    Sample("feed", 700.0, "feed", ("moisture", "ash", "dirt", "bulk_density"), 4000.0),
    Sample("pellets", 6900.0, "pellets", _PELLETS, 9000.0),
    Sample("thrown", 6900.0, "discharge", ("ash", "dirt"), 7100.0),
)


@pytest.fixture(scope="module")
def played() -> tuple[Run, Bags]:
    """The demo's line, evenly, played into steady running with the bags filled on the way."""
    scenario = replace(load_scenario("demo_story").without_scatter(), samples=_SAMPLES)
    run, bags = Run(scenario), Bags(scenario, T0_NS)
    for second in (600, 700, 6900):
        run.advance(second)
        bags.fill(second, run.plant)
    return run, bags


@pytest.fixture(scope="module")
def run(played: tuple[Run, Bags]) -> Run:
    return played[0]


@pytest.fixture(scope="module")
def results(played: tuple[Run, Bags]) -> dict[str, Event]:
    """Bag → its results; those that arrive later come later."""
    bags = played[1]
    early = bags.arrived(7100.0)
    assert [e.data["bag"] for e in early] == ["cold", "feed", "thrown"]
    late = bags.arrived(9000.0)
    assert [e.data["bag"] for e in late] == ["pellets"]
    assert bags.arrived(1e9) == []
    return {str(e.data["bag"]): e for e in [*early, *late]}


def _value(results: dict[str, Event], bag: str, name: str) -> float:
    return float(results[bag].data["values"][name]["value"])


def test_before_the_melt_comes_there_is_nothing_in_the_bag(results: dict[str, Event]) -> None:
    assert results["cold"].data["values"] == {}


def test_pellets_are_as_long_as_flow_and_knives_make_them(run: Run, results: dict[str, Event]) -> None:
    line, plant = run.scenario.line, run.plant
    cut_m3_min = plant.pelletizing.cut_kg_s * 60.0 / 920.0
    hole_m2 = pi / 4.0 * (line.hole_mm * 1e-3) ** 2
    # Length = volume / (hole · swell · holes · knives · speed), swell about 1.15.
    length_mm = (
        1e3
        * cut_m3_min
        / (hole_m2 * 1.15 * line.die_holes * line.knives * plant.pelletizing.knives.speed_min)
    )
    assert _value(results, "pellets", "length") == pytest.approx(length_mm, rel=0.08)
    assert _value(results, "pellets", "mass10") == pytest.approx(
        1e7
        * plant.pelletizing.cut_kg_s
        * 60.0
        / (line.die_holes * line.knives * plant.pelletizing.knives.speed_min),
        rel=0.06,
    )


def test_dirt_that_passes_is_in_the_pellets_and_the_rest_is_thrown_out(
    run: Run, results: dict[str, Event]
) -> None:
    sheet = run.scenario.material
    truth = pellets_of(sheet, run.plant)
    fed_ppm = 1e4 * sheet.dirt_percent
    # The screen keeps the share that its sheet says.
    assert truth.dirt_ppm == pytest.approx(fed_ppm * (1.0 - run.scenario.line.retention), rel=0.1)
    assert truth.ash_percent == pytest.approx(sheet.ash_percent - sheet.dirt_percent + truth.dirt_ppm * 1e-4)
    filter_ = run.plant.filter
    dirt_percent = 100.0 * filter_.dirt_discharged_kg / filter_.discharged_kg
    assert 20.0 < dirt_percent < 80.0
    assert _value(results, "thrown", "dirt") == pytest.approx(dirt_percent, rel=0.2)
    filler_percent = (1.0 - 0.01 * dirt_percent) * (sheet.ash_percent - sheet.dirt_percent)
    assert _value(results, "thrown", "ash") == pytest.approx(dirt_percent + filler_percent, rel=0.08)


def test_the_feed_is_what_the_sheet_says_and_worse_where_something_is_wrong(
    results: dict[str, Event],
) -> None:
    assert _value(results, "feed", "moisture") == pytest.approx(0.3, abs=0.06)
    assert _value(results, "feed", "bulk_density") == pytest.approx(290.0, rel=0.08)
    sheet = MaterialSheet(moisture_percent=0.2, dirt_percent=1.0, ash_percent=3.0)
    truth = feed_of(sheet, Upsets(moisture_percent=0.7, dirt_factor=2.0, bulk_density_factor=0.5))
    assert (truth.moisture_percent, truth.dirt_percent, truth.ash_percent) == pytest.approx((0.9, 2.0, 4.0))
    assert truth.bulk_density_kg_m3 == 145.0
    assert isnan(truth.mfr_g_10min)


def test_a_stiffer_lot_flows_less_in_the_laboratory(run: Run) -> None:
    sheet = replace(run.scenario.material, mfr=(MeltFlow(190.0, 2.16, 1.0),))
    usual = pellets_of(sheet, run.plant, stiffness_of_mfr=1.0).mfr_g_10min
    assert usual == pytest.approx(1.0, rel=1e-6)
    # A power law of n = 0.42 at constant stress: 10 % stiffer, 1.1^(−1/0.42) = 0.797 of the rate.
    assert pellets_of(sheet, run.plant, stiffness_of_mfr=1.0 / 1.1).mfr_g_10min == pytest.approx(
        0.797, abs=1e-3
    )


def test_a_later_lot_is_measured_as_it_is() -> None:
    scenario = replace(
        load_scenario("demo_story"),
        steps=(Step(100.0, "lot change", lot=Lot(lot="wet", moisture_percent=2.0)),),
        samples=(
            Sample("a", 50.0, "feed", ("moisture",), 60.0),
            Sample("b", 150.0, "feed", ("moisture",), 160.0),
        ),
    )
    bags, run = Bags(scenario, T0_NS), Run(scenario)
    bags.fill(50.0, run.plant)
    bags.fill(150.0, run.plant)
    dry, wet = bags.arrived(200.0)
    assert float(dry.data["values"]["moisture"]["value"]) < 0.5
    assert float(wet.data["values"]["moisture"]["value"]) == pytest.approx(2.0, rel=0.25)
