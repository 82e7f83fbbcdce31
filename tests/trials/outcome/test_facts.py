"""From what was written down to what the figures need; nothing that was not told is made up."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from historian.frame import NS
from rules.line import LineFacts, MeltFilter
from trials.figures.operating_point import Facts
from trials.outcome.facts import facts_of
from trials.record.book import Book, book_of
from trials.record.entries import Entry, What

LINE = LineFacts("pilot", MeltFilter(2, screen_area_cm2=1178, fineness_um=110, heater_kw=2.4), 5, 700.0)
MATERIAL = {
    "polymer": "PE-LD",
    "form": "film agglomerate",
    "lot": "1",
    "melt_density": "0.766 g/cm3",
    "activation_energy": "45 kJ/mol",
    "heat_capacity": "2500 J/(kg.K)",
    "melting": "100 kJ/kg",
    "pellet_temperature": "62 Cel",
}


def book(*told: tuple[What, Mapping[str, Any]]) -> Book:
    return book_of(Entry(n, 1, what, n * NS, 0, "ada", data) for n, (what, data) in enumerate(told, start=1))


def mfr(value: str, load: str, **more: str) -> tuple[What, Mapping[str, Any]]:
    data = {"what": "melt-flow-rate", "value": value, "load": load, "temperature": "190 Cel", **more}
    return What.PRE_ANALYSIS, data


def facts(*told: tuple[What, Mapping[str, Any]], lot: str = "", screen: str = "") -> Facts:
    return facts_of(book(*told), LINE, screen=screen, lot=lot, melt_cel=222.0)


def test_nothing_told_leaves_what_the_line_s_file_says() -> None:
    found = facts()
    assert found.planned_kg_h == 700
    assert found.screen is not None and (found.screen.area_cm2, found.screen.hole_um) == (1178, 110)
    assert found.heaters_kw == {"filter.plate.1.out": 2.4, "filter.plate.2.out": 2.4}
    assert (found.melt, found.heat, found.cut, found.moisture_percent, found.feed_dirt) == (None,) * 5
    assert facts_of(book(), LineFacts("bare"), screen="", lot="", melt_cel=None) == Facts()


def test_two_loads_tell_the_power_law_of_the_dossier_s_example() -> None:
    """Worked example: LDPE 190 Cel, 1.1 at 2.16 kg and 4.9 at 5 kg, 766 kg/m3: n 0.5618, K about 11 190."""
    found = facts((What.MATERIAL, MATERIAL), mfr("1.1 g/10min", "2.16 kg"), mfr("4.9 g/10min", "5 kg"))
    assert found.melt is not None
    assert found.melt.exponent == pytest.approx(0.5618, abs=1e-4)
    assert found.melt.consistency == pytest.approx(11_190, rel=2e-3)
    assert (found.melt.activation_j_mol, found.melt.at_cel) == (45_000, 190)
    assert found.melt.density_kg_m3 == pytest.approx(766)
    assert found.heat is not None and found.heat.heat_capacity_kj_kg_k == pytest.approx(2.5)
    assert found.reference is not None and (found.reference.flow_kg_h, found.reference.melt_cel) == (700, 222)


@pytest.mark.parametrize(
    "told",
    [
        [mfr("1.1 g/10min", "2.16 kg")],
        [mfr("1.1 g/10min", "2.16 kg"), mfr("4.9 g/10min", "5 kg", temperature="230 Cel")],
        [mfr("1.1 g/10min", "2.16 kg"), mfr("< 4.9 g/10min", "5 kg")],
        [mfr("1.1 g/10min", "2.16 kg"), mfr("4.9 g/10min", "5 kg", of="pellets")],
        [mfr("1.1 g/10min", "2.16 kg", lot="1"), mfr("4.9 g/10min", "5 kg", lot="2")],
    ],
    ids=["one load", "two temperatures", "less than", "of pellets", "another lot"],
)
def test_without_two_points_of_one_melt_there_is_no_power_law(
    told: list[tuple[What, Mapping[str, Any]]],
) -> None:
    assert facts((What.MATERIAL, MATERIAL), *told, lot="1").melt is None


def test_the_screen_is_the_one_that_was_in() -> None:
    told = [
        (What.SCREEN, {"serial": "A", "fineness": "110 um", "area": "1200 cm2", "open": "10 %"}),
        (What.SCREEN, {"serial": "B", "fineness": "150 um"}),
    ]
    first, second = facts(*told, screen="A").screen, facts(*told, screen="B").screen
    assert first is not None and (first.area_cm2, first.hole_um, first.open_share) == (1200, 110, 0.1)
    assert second is not None and (second.area_cm2, second.hole_um, second.open_share) == (1178, 150, None)


def test_a_balance_of_dirt_mixes_no_methods() -> None:
    def result(what: str, of: str, value: str) -> tuple[What, Mapping[str, Any]]:
        data = {"sample": of, "what": what, "value": value, "of": of, "method": "600 Cel"}
        return What.RESULT, data

    ash = [
        result("ash", "feed", "1.4 %"),
        result("ash", "discharge", "47 %"),
        result("ash", "pellets", "0.36 %"),
    ]
    found = facts(*ash)
    assert [m.value for m in (found.feed_dirt, found.discharge_dirt, found.pellet_dirt) if m] == [
        pytest.approx(0.014),
        pytest.approx(0.47),
        pytest.approx(0.0036),
    ]
    sieve = (What.PRE_ANALYSIS, {"what": "filterable-dirt", "value": "1.6 %", "of": "feed"})
    dirt = result("contaminant-share", "discharge", "50 %")
    mixed = facts(sieve, dirt, ash[2])
    assert mixed.feed_dirt is not None and mixed.pellet_dirt is None


def test_moistures_stand_at_the_time_of_their_samples() -> None:
    found = facts(
        (What.SAMPLE, {"name": "P1"}),
        (What.SAMPLE, {"name": "F1", "of": "feed"}),
        (What.RESULT, {"sample": "P1", "what": "moisture", "value": "0.07 %", "method": "oven"}),
        (What.RESULT, {"sample": "P9", "what": "moisture", "value": "0.09 %", "method": "oven"}),
    )
    assert found.moisture_samples == ((1 * NS, 0.07),)
    assert found.pellet_samples_ns == (1 * NS,)


def test_the_die_tells_how_pellets_are_cut() -> None:
    found = facts((What.DIE, {"holes": 120, "hole": "2.6 mm", "knives": 4}))
    assert found.cut is not None
    assert found.cut.length_mm(780, 1607, 920) == pytest.approx(3.0, abs=0.01)
