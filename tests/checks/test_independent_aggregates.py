"""Our aggregates beside those of another implementation of OPC 10000-13, on series with a fixed seed.

Source of the answers: node-opcua-aggregates 2.182.2 (MIT), recorded by ``independent/record.js``. Where the two
differ, ``docs/standards.md`` says why; a difference anywhere else fails.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from historian.aggregates import DATA_SUB_NORMAL, Aggregate, AggregateConfig, AggregateRow, aggregate_series
from historian.frame import NS, Series
from historian.quality import BAD, GOOD, UNCERTAIN

START_NS = 1_893_456_000 * NS
STEP_MS = 5_000
CODES = {"Good": GOOD, "Bad": BAD, "Uncertain": UNCERTAIN}
KINDS = {
    "Average": Aggregate.AVERAGE,
    "Count": Aggregate.COUNT,
    "Minimum": Aggregate.MINIMUM,
    "Maximum": Aggregate.MAXIMUM,
    "Interpolative": Aggregate.INTERPOLATIVE,
    "DurationGood": Aggregate.DURATION_GOOD,
    "DurationBad": Aggregate.DURATION_BAD,
    "PercentGood": Aggregate.PERCENT_GOOD,
    "PercentBad": Aggregate.PERCENT_BAD,
}
# How many of the 144 answers of each kind differ, for the reasons that ``reason`` knows.
DIFFER = {"Minimum": 1, "Maximum": 6, "DurationGood": 17, "PercentGood": 18}

with (Path(__file__).parent / "independent" / "answers.json").open(encoding="utf-8") as _file:
    CASES: list[dict[str, Any]] = json.load(_file)["cases"]


def ours(case: dict[str, Any], kind: str) -> list[AggregateRow]:
    rows, config = case["rows"], case["config"]
    series = Series.of(
        [START_NS + r[0] * 1_000_000 for r in rows], [r[1] for r in rows], [CODES[r[2]] for r in rows]
    )
    return aggregate_series(
        series,
        START_NS,
        START_NS + 60 * NS,
        STEP_MS * 1_000_000,
        KINDS[kind],
        config=AggregateConfig(
            config["treat_uncertain_as_bad"],
            config["percent_bad"],
            config["percent_good"],
            config["use_sloped_extrapolation"],
        ),
        stepped=config["stepped"],
    )


def is_same(row: AggregateRow, value: float | None, quality: int) -> bool:
    if row.quality >> 30 != quality >> 30:
        return False
    if value is None or math.isnan(row.value):
        return value is None and math.isnan(row.value)
    return row.value == pytest.approx(value, rel=1e-9)


def reason(case: dict[str, Any], kind: str, place: int) -> str:
    """Why the two may differ in an interval; empty where they may not."""
    start, rows = place * STEP_MS, case["rows"]
    inside = [r for r in rows if start <= r[0] < start + STEP_MS]
    before, after = [r for r in rows if r[0] < start][-1], next(r for r in rows if r[0] >= start)
    if kind in ("Minimum", "Maximum"):
        return "uncertain" if any(r[2] == "Uncertain" for r in inside) else ""
    if not any(r[2] == "Good" for r in inside):
        return "nothing good inside"
    if not case["config"]["treat_uncertain_as_bad"] and any(r[2] == "Uncertain" for r in [before, *inside]):
        return "uncertain"
    is_sloped = not case["config"]["stepped"]
    return "bounding value" if is_sloped and before[2] == "Good" and after[2] == "Bad" else ""


@pytest.mark.parametrize("kind", KINDS)
def test_both_give_the_same_value_and_severity(kind: str) -> None:
    differ = []
    for case in CASES:
        answers = case["answers"][kind]
        for place, (row, (value, quality)) in enumerate(zip(ours(case, kind), answers, strict=True)):
            if not is_same(row, value, quality):
                differ.append(reason(case, kind, place))
                assert differ[-1], (case["seed"], place, row, value, hex(quality))
                if kind in ("Minimum", "Maximum"):
                    assert row.value == value
                    assert quality & 0xFFFF_0000 == DATA_SUB_NORMAL & 0xFFFF_0000
    assert len(differ) == DIFFER.get(kind, 0)
