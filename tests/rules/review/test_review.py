"""The whole review: origins, warnings, what is above; the tables and the JSON hold all of it."""

from __future__ import annotations

import json
from datetime import UTC

import pytest

from historian.frame import NS
from rules.entry import ActKind
from rules.finding import Priority
from rules.review import OURS, PUBLISHED, Judgement, Review, Spell, Window, histories, review
from rules.review.as_json import to_json
from rules.review.tables import (
    Table,
    as_text,
    counts_table,
    figures_table,
    floods_table,
    frequent_table,
    proposals_table,
    side_by_side,
    sources,
)
from tests.rules.review.told import MIDNIGHT, MONTH, Told, at

DAY = 86_400


def calm_month() -> Told:
    """Two alarms an hour for a month, each of another part, seen after a minute and over after five."""
    told = Told()
    for n in range(31 * 24 * 2):
        name = {"subject": f"part.{n}"}
        told.found(1800 * n, True, priority=Priority.LOW if n % 5 else Priority.MEDIUM, **name)
        told.act(1800 * n + 60, ActKind.SEEN, **name)
        told.found(1800 * n + 300, False, **name)
    return told


@pytest.fixture(scope="module")
def calm() -> Review:
    return review(histories(calm_month().entries), MONTH, UTC)


def test_a_calm_month_is_within_everywhere(calm: Review) -> None:
    (ours,) = calm.origins
    assert ours.origin == OURS and ours.alarms == 1488
    found = {f.key: f for f in ours.figures}
    assert found["per day"].value == pytest.approx(48) and found["per hour"].value == pytest.approx(2)
    assert {f.judgement for f in ours.figures} == {Judgement.WITHIN}
    assert not calm.is_above
    assert ours.steady_words == "very likely acceptable"
    assert (ours.acknowledged.median_s, ours.returned.median_s) == (60, 300)
    assert ours.grades == {"low": 1190, "medium": 298}
    assert not any("30 days" in w for w in calm.warnings)
    assert any("must not be multiplied up" in w for w in calm.warnings)


def test_every_figure_stands_in_the_order_of_the_published_table(calm: Review) -> None:
    keys = [f.key for f in calm.origins[0].figures]
    assert keys == [k for k in PUBLISHED if k != "priorities"]


def test_the_rate_outside_of_floods_is_told_apart_from_them() -> None:
    told = Told()
    told.spell(100, 101, subject="a")
    told.spell(200, 201, subject="b")
    for n in range(150):
        told.spell(600 + 2 * n, 600 + 2 * n + 1, subject=f"flood.{n}")
    (ours,) = review(histories(told.entries), Window(MIDNIGHT, at(1200)), UTC).origins
    assert ours.steady_words == "manageable", "two in the ten minutes outside of the flood"
    assert list(ours.upset_words) == ["definitely excessive"]


def test_rates_are_those_of_the_recorded_time() -> None:
    told = Told()
    told.spell(0, 100)
    told.spell(1000, 1100)
    window = Window(MIDNIGHT, at(10 * 3600))
    made = review(histories(told.entries), window, UTC, gaps=[Spell(at(2 * 3600), at(8 * 3600))])
    found = {f.key: f.value for f in made.origins[0].figures}
    assert made.recorded_s == 4 * 3600 and found["per hour"] == 0.5
    nothing = review([], window, UTC, gaps=[Spell(at(-5), None)])
    assert {f.judgement for f in nothing.origins[0].figures} == {Judgement.NOT_ENOUGH}


def test_a_figure_above_the_target_and_within_the_maximum_is_not_above() -> None:
    told = Told()
    for n in range(31 * 24 * 9):
        told.spell(400 * n, 400 * n + 100, subject=f"part.{n % 500}")
    made = review(histories(told.entries), MONTH, UTC)
    found = {f.key: f.judgement for f in made.origins[0].figures}
    assert found["per hour"] is found["per 10 min"] is Judgement.ABOVE_TARGET
    assert not made.is_above


def noisy() -> Review:
    told = Told()
    for n in range(30):
        told.spell(600 + 8 * n, 600 + 8 * n + 3)
    told.spell(8000, 8030, subject="other")
    return review(histories(told.entries), Window(MIDNIGHT, at(DAY)), UTC)


def tables(made: Review) -> list[Table]:
    makers = (figures_table, side_by_side, counts_table, frequent_table, floods_table, proposals_table)
    return [make(made) for make in makers]


def test_the_rows_of_every_table_are_as_long_as_its_headings_and_empty_ones_print() -> None:
    for made in (noisy(), review([], MONTH, UTC)):
        for table in tables(made):
            assert all(len(row) == len(table.columns) for row in table.rows)
            lines = as_text(table, str)
            assert len(lines) == len(table.rows) + 1


def test_the_json_holds_the_same_and_is_json(calm: Review) -> None:
    made = json.loads(json.dumps(to_json(noisy()), allow_nan=False))
    assert made["above"] is True and made["end_ns"] - made["start_ns"] == DAY * NS
    (ours,) = made["origins"]
    figure = next(f for f in ours["figures"] if f["key"] == "most in 10 min")
    assert (figure["value"], figure["judgement"], figure["maximum"]) == (30, "above", 10)
    assert figure["source"] and figure["confidence"]
    assert made["proposals"][0]["backtest"]["after"] == 1
    assert to_json(calm)["above"] is False


def test_a_note_that_several_origins_share_is_told_once() -> None:
    notes = [s for s in sources(noisy()) if "fewer than 200" in s]
    assert notes == [
        "contribution of top 10 most frequent alarms: of fewer than 200 alarms ten make more than 5 % however they "
        "come (ours)"
    ]
