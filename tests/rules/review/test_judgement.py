"""What may be said of a figure beside the published one."""

from __future__ import annotations

import pytest

from rules.review.judgement import Judgement, judged
from rules.review.published import PUBLISHED


@pytest.mark.parametrize(
    ("key", "value", "days", "expected"),
    [
        ("per hour", 6.0, 30, Judgement.WITHIN),
        ("per hour", 6.1, 30, Judgement.ABOVE_TARGET),
        ("per hour", 12.0, 1, Judgement.ABOVE_TARGET),
        ("per hour", 12.1, 1, Judgement.ABOVE),
        ("per hour", 6.0, 29.9, Judgement.NOT_ENOUGH),
        ("most in 10 min", 10, 30, Judgement.WITHIN),
        ("most in 10 min", 11, 0.1, Judgement.ABOVE),
        ("time in flood", 1.0, 30, Judgement.ABOVE),  # published: less than 1 %
        ("time in flood", 0.99, 30, Judgement.WITHIN),
        ("stale", 4, 30, Judgement.WITHIN),  # published: fewer than 5
        ("stale", 5, 30, Judgement.ABOVE),
        ("chattering or fleeting", 1, 30, Judgement.ABOVE),
        ("ten most frequent", 3, 30, Judgement.ABOVE_TARGET),
        ("per day", float("nan"), 30, Judgement.NOT_ENOUGH),
    ],
)
def test_within_above_or_not_enough(key: str, value: float, days: float, expected: Judgement) -> None:
    assert judged(key, value, days).judgement is expected


def test_what_lacks_data_says_what() -> None:
    assert judged("per day", 500, 0.5, lacks="less than a day of record").why == "less than a day of record"
    assert judged("per day", 500, 0.5, lacks="less than a day of record").judgement is Judgement.NOT_ENOUGH
    assert judged("per hour", 1, 7).why == "7 of 30 days"


@pytest.mark.parametrize("key", PUBLISHED)
def test_every_published_figure_says_whose_it_is_and_how_sure(key: str) -> None:
    row = PUBLISHED[key]
    assert row.source and ("seen in secondary text" in row.confidence or "memory" in row.confidence)
    assert (row.target is None) == (row.maximum is None)
    if row.target is not None and row.maximum is not None:
        assert row.target <= row.maximum
