"""The figures of the alarm review against published definitions, and our table against the collected one.

Sources: alarm_kpi.csv (ISA-18.2, IEC 62682, EEMUA 191 as seen in secondary texts or from memory: the standards could
not be read), and test vectors that follow from the definitions alone: flood (10 or more in 10 min, against more than
10), chattering (3 in 60 s), stale (more than 24 h), share of the ten most frequent.
"""

from __future__ import annotations

import csv
import re
from datetime import UTC
from pathlib import Path

import numpy as np
import pytest

from historian.frame import Times
from rules.review import FloodRule, histories, review
from rules.review.floods import floods_by_clock, floods_sliding
from rules.review.nuisance import chatter, stale_spells
from rules.review.published import AFTER_UPSET, LEAST_DAYS, PUBLISHED, SHARES, STEADY
from rules.review.rates import TEN_MIN_NS, by_clock, clock_edges
from tests.rules.review.told import MONTH, Told, at


def times(*seconds: float) -> Times:
    return np.array([at(s) for s in seconds], dtype=np.int64)


@pytest.mark.parametrize(("start_at_least", "floods"), [(10, 1), (11, 0)])
def test_ten_alarms_in_ten_minutes_flood_under_ten_or_more_and_not_under_more_than_ten(
    start_at_least: int, floods: int
) -> None:
    """Vector: alarms at t = 0, 60, ..., 540 s."""
    some, rule = times(*range(0, 600, 60)), FloodRule(start_at_least)
    counts = by_clock(some, clock_edges(MONTH, UTC, TEN_MIN_NS))
    assert counts.most == 10
    assert len(floods_by_clock(some, counts, rule)) == len(floods_sliding(some, rule)) == floods


@pytest.mark.parametrize(("seconds", "chatters"), [((0, 20, 59), True), ((0, 30, 61), False)])
def test_three_in_sixty_seconds_chatter(seconds: tuple[int, ...], chatters: bool) -> None:
    """Vectors: 0, 20, 59 s and 0, 30, 61 s."""
    assert chatter(times(*seconds)).tolist() == [chatters] * 3


@pytest.mark.parametrize(("length_s", "stale"), [(86_400, False), (86_401, True)])
def test_stale_is_more_than_a_day(length_s: int, stale: bool) -> None:
    """Vectors: active for 86 400 s and 86 401 s."""
    told = Told()
    told.spell(0, length_s)
    assert bool(stale_spells(histories(told.entries)[0], MONTH)) is stale


def test_the_ten_most_frequent_of_a_thousand() -> None:
    """Vector: 1 000 activations, the ten most frequent make 430 of them: 43 %."""
    told = Told()
    for n in range(1000):
        subject = f"often.{n % 10}" if n < 430 else f"seldom.{n % 57}"
        told.spell(300 * n, 300 * n + 100, subject=subject)
    (ours,) = review(histories(told.entries), MONTH, UTC).origins
    value = {f.key: f.value for f in ours.figures}["ten most frequent"]
    assert ours.alarms == 1000 and value == pytest.approx(43.0, abs=1e-9)
    assert all(f.history.name.subject.startswith("often") for f in ours.frequent)


@pytest.fixture
def collected(shared: Path) -> dict[str, dict[str, str]]:
    with (shared / "checks" / "alarm_kpi.csv").open(encoding="utf-8", newline="") as file:
        return {row["metric"]: row for row in csv.DictReader(file)}


_SOURCES = dict.fromkeys(("IEC 62682 table", "same table"), "IEC 62682 performance table")
_CONFIDENCE = {"memory": "from memory"}


@pytest.mark.shared
@pytest.mark.parametrize("key", PUBLISHED)
def test_our_table_says_what_was_collected(key: str, collected: dict[str, dict[str, str]]) -> None:
    ours = PUBLISHED[key]
    row = collected[ours.metric]
    assert ours.target_text == row["target_very_likely_acceptable"]
    assert ours.maximum_text == row["limit_maximum_manageable"]
    assert ours.source == _SOURCES.get(row["source"], row["source"])
    assert ours.confidence == _CONFIDENCE.get(row["confidence"], row["confidence"])
    told = [float(n) for n in re.findall(r"\d+", f"{ours.target_text} {ours.maximum_text}")]
    for number in (ours.target, ours.maximum):
        assert number is None or number in told


@pytest.mark.shared
def test_the_scales_the_shares_and_the_definitions_are_those_collected(
    collected: dict[str, dict[str, str]],
) -> None:
    for step in (*STEADY, *AFTER_UPSET):
        assert step.words == collected[step.row]["target_very_likely_acceptable"]
        assert step.confidence == _CONFIDENCE.get(c := collected[step.row]["confidence"], c)
    shares = collected[PUBLISHED["priorities"].metric]["target_very_likely_acceptable"]
    assert [f"~{value:g} % {name}" for name, value in SHARES.items()] == shares.split(" / ")
    assert (
        f"at least {LEAST_DAYS} days"
        in collected["data span for assessment"]["target_very_likely_acceptable"]
    )
    rule = FloodRule()
    start, end = (collected[f"flood {w}"]["target_very_likely_acceptable"] for w in ("start", "end"))
    assert start.startswith(f"{rule.start_at_least} or more alarms in 10 min")
    assert end == f"fewer than {rule.end_below} alarms in 10 min"
    assert collected["chattering definition"]["target_very_likely_acceptable"].startswith("3 or more")
    assert "longer than 24 h" in collected["stale definition"]["target_very_likely_acceptable"]
