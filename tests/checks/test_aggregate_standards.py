"""The aggregates against the example rows of OPC 10000-13, every value, time stamp and status bit.

Source of the rows: annex A of OPC 10000-13 (v1.04) and the test data of the OPC Foundation that mirror it
(UA-.NETStandard-Samples, TestData.xml, MIT). What a row is worth stands in its ``status``.
"""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from historian.aggregates import (
    CALCULATED,
    DATA_SUB_NORMAL,
    INTERPOLATED,
    MULTIPLE_VALUES,
    PARTIAL,
    Aggregate,
    AggregateConfig,
    AggregateRow,
    aggregate_series,
)
from historian.frame import NS, Series
from historian.quality import BAD, GOOD, NO_DATA, UNCERTAIN

SHARED = Path(__file__).resolve().parents[2].parent / "shared" / "checks"
needs_shared = pytest.mark.skipif(
    not SHARED.is_dir(), reason="the folder of check values is not beside the project"
)

CODES = {
    "Good": GOOD,
    "Uncertain": UNCERTAIN,
    "UncertainDataSubNormal": DATA_SUB_NORMAL,
    "Bad": BAD,
    "BadNoData": NO_DATA,
}
BITS = {
    "Calculated": CALCULATED,
    "Interpolated": INTERPOLATED,
    "Partial": PARTIAL,
    "MultipleValues": MULTIPLE_VALUES,
}

# Tables of annex A (v1.04) with at least one row that a second source confirms, and how many such rows.
CONFIRMED = {
    ("Interpolative", "Historian1"): 20,
    ("Interpolative", "Historian2"): 18,
    ("Interpolative", "Historian3"): 20,
    ("Average", "Historian1"): 19,
    ("Average", "Historian2"): 20,
    ("Average", "Historian3"): 20,
    ("TimeAverage2", "Historian1"): 20,
    ("TimeAverage2", "Historian2"): 14,
    ("TimeAverage2", "Historian3"): 3,
    ("Minimum", "Historian1"): 7,
    ("Minimum", "Historian2"): 7,
    ("Minimum", "Historian3"): 7,
}

_FIRST = "the text of 5.4.3.24 counts the first value as a transition; the test data do not"
_MEET = "v1.05 4.2.1.2: where the two shares meet, that of good data decides; the test data are older"
_PARTIAL = "v1.04 and later mark the interval that holds the end of the data Partial; the test data are older"

# Rows that stand in one source only and that we do not follow: our value and quality, and why.
DEVIATIONS: dict[tuple[str, str, float], tuple[float, int, str]] = {
    ("NumberOfTransitions", "Historian1", 0): (1, CALCULATED | PARTIAL, _FIRST),
    ("NumberOfTransitions", "Historian2", 0): (1, CALCULATED | PARTIAL, _FIRST),
    ("NumberOfTransitions", "Historian3", 0): (1, CALCULATED | PARTIAL, _FIRST),
    ("NumberOfTransitions", "Historian4", 0): (1, CALCULATED | PARTIAL, _FIRST),
    ("NumberOfTransitions", "Historian1", 80): (
        2,
        CALCULATED | PARTIAL,
        "the text compares with the previous non-Bad value, an uncertain 70 here; the test data skip it",
    ),
    ("NumberOfTransitions", "Historian3", 32): (1, CALCULATED, _MEET),
    ("Count", "Historian3", 32): (1, CALCULATED, _MEET),
    ("TimeAverage2", "Historian3", 80): (70, DATA_SUB_NORMAL | CALCULATED, _MEET),
    ("DeltaBounds", "Historian1", 16): (
        14,
        DATA_SUB_NORMAL | CALCULATED,
        "5.4.3.30: uncertain if either bound is, and that at 32 s is an estimate; the test data say Good",
    ),
    ("TimeAverage2", "Historian2", 90): (90, DATA_SUB_NORMAL | CALCULATED | PARTIAL, _PARTIAL),
    ("TimeAverage2", "Historian3", 90): (90, CALCULATED | PARTIAL, _PARTIAL),
    ("MinimumActualTime", "Historian2", 83): (70, PARTIAL, _PARTIAL),
    ("MinimumActualTime", "Historian3", 83): (70, PARTIAL, _PARTIAL),
    ("MinimumActualTime2", "Historian2", 83): (70, DATA_SUB_NORMAL | PARTIAL, _PARTIAL),
    ("MinimumActualTime2", "Historian3", 83): (70, PARTIAL, _PARTIAL),
}

# The same for the data set that no table of the standard has (Historian 5 of the test tool).
TOOL_DEVIATIONS: dict[tuple[str, str, float], tuple[float, int, str]] = {
    ("Average", "Historian5", 0): (10, CALCULATED, "annex A of v1.04 has no Partial bit on any Average"),
    ("NumberOfTransitions", "Historian5", 0): (1, CALCULATED | PARTIAL, _FIRST),
    ("DeltaBounds", "Historian5", 64): (
        32,
        DATA_SUB_NORMAL | CALCULATED,
        "5.4.3.30: uncertain if either bound is; the test data say Good",
    ),
}

Row = dict[str, str]


def rows(name: str) -> Iterator[Row]:
    with (SHARED / name).open(newline="", encoding="utf-8") as file:
        yield from csv.DictReader(file)


def number(text: str) -> float:
    if text in CODES:
        return float(CODES[text])
    return float(text == "true") if text in {"true", "false"} else float(text)


def quality(text: str) -> int:
    code, *bits = (part.strip() for part in text.split(","))
    return CODES[code] | sum(BITS[bit] & ~0x400 for bit in bits) | (0x400 if bits else 0)


def samples(historian: str) -> list[tuple[int, float, int]]:
    return [
        (
            int(float(r["t_s"]) * NS),
            number(r["value"]) if r["value"] and r["quality"] != "Bad" else math.nan,
            CODES[r["quality"]],
        )
        for r in rows("opcua_p13_raw.csv")
        if r["historian"] == historian
    ]


def ours(
    aggregate: str, historian: str, interval_s: str, *, sloped: bool = False, extra: bool = False
) -> dict[int, AggregateRow]:
    """Our rows by time; Historian2 without sloped extrapolation, as v1.04 has it."""
    kept = samples(historian)
    if extra:
        kept.insert(0, (0, math.nan, NO_DATA))
    settings = json.loads((SHARED / "opcua_p13_config.json").read_text(encoding="utf-8"))["config"][historian]
    config = AggregateConfig(
        treat_uncertain_as_bad=settings["treat_uncertain_as_bad"],
        percent_data_bad=settings["percent_bad"],
        percent_data_good=settings["percent_good"],
        use_sloped_extrapolation=sloped,
    )
    found = aggregate_series(
        Series.of(*zip(*kept, strict=True)),
        0,
        100 * NS,
        int(float(interval_s) * NS),
        Aggregate(aggregate),
        config=config,
        stepped=settings["stepped"],
    )
    return {row.time_ns: row for row in found}


def at(row: Row) -> int:
    return int(float(row["t_start_s"]) * NS)


def agrees(found: AggregateRow, value: str, status: str, *, more_bits: int = 0) -> bool:
    """Same value to the digits that the tables print, same status to the last bit."""
    expected = quality(status) | more_bits
    same = math.isnan(found.value) if not value else found.value == pytest.approx(number(value), abs=6e-4)
    return same and found.quality == expected


@pytest.mark.shared
@needs_shared
@pytest.mark.parametrize(("aggregate", "historian"), list(CONFIRMED))
def test_rows_that_two_sources_confirm(aggregate: str, historian: str) -> None:
    """Source: annex A (v1.04): A.2 Interpolative, A.3 Average, A.5 TimeAverage2, A.8 Minimum.

    Where editions differ the later one is asked for: the columns ``value_v104plus`` and ``quality_v104plus``.
    """
    trusted = ("confirmed", "value-confirmed,quality-differs-by-edition", "value-differs-by-edition")
    expected = [
        r
        for r in rows("opcua_p13_expected.csv")
        if (r["aggregate"], r["historian"]) == (aggregate, historian) and r["status"] in trusted
    ]
    assert len(expected) == CONFIRMED[aggregate, historian]
    found = ours(aggregate, historian, expected[0]["interval_s"])
    for row in expected:
        assert agrees(found[at(row)], row["value_v104plus"], row["quality_v104plus"]), (row, found[at(row)])


@pytest.mark.shared
@needs_shared
def test_beyond_the_end_with_and_without_sloped_extrapolation() -> None:
    """Source: TestData.xml (Historian2, sloped) beside annex A.2 of v1.04 (held)."""
    expected = [r for r in rows("opcua_p13_expected.csv") if r["status"].startswith("depends on UseSloped")]
    assert len(expected) == 2
    for row in expected:
        sloped = ours(row["aggregate"], row["historian"], row["interval_s"], sloped=True)
        assert agrees(sloped[at(row)], row["value"], row["quality"]), row
        held = ours(row["aggregate"], row["historian"], row["interval_s"])
        assert agrees(held[at(row)], row["value_v104plus"], row["quality_v104plus"]), row


@pytest.mark.shared
@needs_shared
def test_rows_of_a_single_source_but_for_the_listed_ones() -> None:
    """Source: TestData.xml. A listed deviation that is none any more fails as well."""
    seen, deviating = 0, set()
    for row in rows("opcua_p13_expected.csv"):
        if not row["status"].startswith("single-source"):
            continue
        seen += 1
        found = ours(row["aggregate"], row["historian"], row["interval_s"])[at(row)]
        more = PARTIAL if "extra Partial bit" in row["status"] else 0
        if agrees(found, row["value"], row["quality"], more_bits=more):
            continue
        key = (row["aggregate"], row["historian"], float(row["t_start_s"]))
        deviating.add(key)
        assert key in DEVIATIONS, (row, found)
        assert (found.value, found.quality) == DEVIATIONS[key][:2], DEVIATIONS[key][2]
    assert seen == 339
    assert deviating == set(DEVIATIONS)


@pytest.mark.shared
@needs_shared
def test_rows_of_the_test_tool_alone_but_for_the_listed_ones() -> None:
    """Source: TestData.xml, Historian 5, but for its spreads, whose labels are those of an older draft."""
    seen, deviating = 0, set()
    for row in rows("opcua_p13_expected.csv"):
        is_spread = row["aggregate"].startswith(("Variance", "StandardDeviation"))
        if not row["status"].startswith("test-tool-only") or is_spread:
            continue
        seen += 1
        found = ours(row["aggregate"], row["historian"], row["interval_s"])[at(row)]
        if any(agrees(found, row["value"], row["quality"], more_bits=bits) for bits in (0, PARTIAL)):
            continue
        key = (row["aggregate"], row["historian"], float(row["t_start_s"]))
        deviating.add(key)
        assert (found.value, found.quality) == TOOL_DEVIATIONS[key][:2], row
    assert seen == 158
    assert deviating == set(TOOL_DEVIATIONS)


@pytest.mark.shared
@needs_shared
@pytest.mark.parametrize(("aggregate", "historian"), list(CONFIRMED))
def test_the_mark_of_an_archives_beginning_changes_nothing(aggregate: str, historian: str) -> None:
    """Source: annex A.1.1, whose raw data begin with Bad_NoData at 12:00:00."""
    interval_s = "16" if aggregate == "Minimum" else "5"
    plain, marked = (ours(aggregate, historian, interval_s, extra=extra) for extra in (False, True))
    assert [repr(r) for r in plain.values()] == [repr(r) for r in marked.values()]


@pytest.mark.parametrize(
    ("kind", "values", "expected"),
    [
        ("StandardDeviationPopulation", [10, 20, 30, 40, 50], 14.142135),
        ("StandardDeviationSample", [10, 20, 30, 40, 50], 15.811388),
        ("VariancePopulation", [10, 20, 30, 40, 50], 200.0),
        ("VarianceSample", [10, 20, 30, 40, 50], 250.0),
        ("StandardDeviationSample", [10, 20], 7.0710678),
        ("VarianceSample", [10, 20], 50.0),
        ("VarianceSample", [10], 0.0),
        ("StandardDeviationPopulation", [10], 0.0),
    ],
)
def test_spread(kind: str, values: list[float], expected: float) -> None:
    """Source: the formulas of OPC 10000-13 5.4.3.37 to 5.4.3.40; n = 1 gives 0."""
    series = Series.of(range(len(values)), values, GOOD)
    row = aggregate_series(series, 0, len(values), len(values), Aggregate(kind))[0]
    assert row.value == pytest.approx(expected, abs=1e-6)
    assert row.quality & ~(PARTIAL & ~0x400) == CALCULATED


@pytest.mark.parametrize(
    ("stepped", "sloped_extrapolation", "expected"),
    [
        (False, True, {5: 15.0, 8: 18.0, 15: 25.0, 25: 35.0, 27: 37.0}),
        (False, False, {5: 15.0, 8: 18.0, 15: 25.0, 25: 30.0, 27: 30.0}),
        (True, False, {5: 10.0, 8: 10.0, 15: 20.0, 25: 30.0, 27: 30.0}),
    ],
)
def test_interpolation_and_extrapolation(
    stepped: bool, sloped_extrapolation: bool, expected: dict[int, float]
) -> None:
    """Source: OPC 10000-13 3.1.6, the table of its note 1."""
    series = Series.of([0, 10, 20], [10.0, 20.0, 30.0], GOOD)
    config = AggregateConfig(use_sloped_extrapolation=sloped_extrapolation)
    for time, value in expected.items():
        row = aggregate_series(
            series, time, time + 1, 1, Aggregate.INTERPOLATIVE, config=config, stepped=stepped
        )[0]
        assert row.value == pytest.approx(value)
        assert row.quality == INTERPOLATED | (DATA_SUB_NORMAL if time > 20 else GOOD)
