"""How a figure is judged and printed."""

from __future__ import annotations

import json
import math
from itertools import count

from benchmarks.figure import Figure, medians, table


def test_a_rate_holds_when_ours_is_enough_times_the_plain_way() -> None:
    assert Figure("samples/s", 300.0, 100.0, bar=3.0).holds
    assert not Figure("samples/s", 299.0, 100.0, bar=3.0).holds


def test_a_time_holds_when_the_plain_way_takes_enough_times_as_long() -> None:
    figure = Figure("query, ms", 2.0, 10.0, bar=5.0, less_is_better=True)
    assert figure.ratio == 5.0
    assert figure.holds
    assert not Figure("query, ms", 10.0, 2.0, bar=1.0, less_is_better=True).holds


def test_a_figure_that_cannot_be_divided_falls_short_and_is_null() -> None:
    figure = Figure("samples/s", 1.0, 0.0, bar=0.0)
    assert math.isnan(figure.ratio)
    assert not figure.holds
    assert json.loads(figure.to_json())["ratio"] is None
    assert not Figure("samples/s", math.nan, 1.0, bar=0.0).holds


def test_the_json_line_has_the_agreed_keys() -> None:
    line = json.loads(Figure("samples/s", 3.0, 1.0, bar=2.0).to_json())
    assert line == {
        "name": "samples/s",
        "ours": 3.0,
        "baseline": 1.0,
        "ratio": 3.0,
        "bar": 2.0,
        "holds": True,
    }
    assert json.loads(Figure("samples/s", 3.0, 1.0, bar=2.0, quick=True).to_json()) == {**line, "quick": True}


def test_a_limit_of_its_own_is_enough_where_the_ratio_falls_short_and_the_other_way_round() -> None:
    slow_machine = Figure("query, ms", 9.0, 90.0, bar=8.0, less_is_better=True, limit=2.5)
    plain_is_fast = Figure("query, ms", 2.0, 4.0, bar=8.0, less_is_better=True, limit=2.5)
    assert slow_machine.holds and plain_is_fast.holds
    assert not Figure("query, ms", 9.0, 70.0, bar=8.0, less_is_better=True, limit=2.5).holds
    assert not Figure("query, ms", math.nan, 70.0, bar=8.0, less_is_better=True, limit=2.5).holds
    assert Figure("samples/s", 20.0, 10.0, bar=3.0, limit=15.0).holds
    assert not Figure("samples/s", 14.0, 10.0, bar=3.0, limit=15.0).holds


def test_the_json_line_adds_the_limit_and_what_others_gave() -> None:
    figure = Figure("query, ms", 2.0, 10.0, 5.0, True, limit=2.5, beside={"another": 41.1234567})
    line = json.loads(figure.to_json())
    assert (line["limit"], line["beside"]) == (2.5, {"another": 41.1235})
    assert set(line) == {"name", "ours", "baseline", "ratio", "bar", "holds", "limit", "beside"}
    (row,) = table([figure]).splitlines()[1:]
    assert row.split()[-4:] == ["2.5", "holds;", "another", "41.12"]


def test_the_table_names_what_falls_short() -> None:
    lines = table([Figure("good", 3.0, 1.0, bar=2.0), Figure("poor", 1.0, 1.0, bar=2.0)]).splitlines()
    assert lines[1].startswith("good") and lines[1].endswith("holds")
    assert lines[2].startswith("poor") and lines[2].endswith("FALLS SHORT")


def test_medians_take_turns_between_the_ways() -> None:
    turns: list[str] = []
    ours, plain = count(1), count(10)

    def one() -> float:
        turns.append("one")
        return float(next(ours))

    def other() -> float:
        turns.append("other")
        return float(next(plain))

    assert medians(one, other) == (3.0, 12.0)
    assert turns == ["one", "other"] * 5
