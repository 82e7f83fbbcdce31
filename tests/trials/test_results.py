"""Replicates are one result with its scatter; a bound stays a bound."""

from __future__ import annotations

from typing import Any

import pytest

from trials.record import Entry, What
from trials.results import LabResult, results_of


def results(*told: dict[str, Any], what: What = What.RESULT) -> list[LabResult]:
    return results_of(Entry(n, 1, what, n, n, "lab", data) for n, data in enumerate(told, 1))


def test_replicates() -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods 1.3.5.1, 1.3.5.6: mean and standard deviation; by hand."""
    (one,) = results(
        *({"sample": "P1", "what": "length", "value": f"{v} mm", "replicate": n}
          for n, v in enumerate((2.9, 3.0, 3.1, 3.2), 1))
    )  # fmt: skip
    assert one.value == pytest.approx(3.05) and one.n == 4 and not one.less_than
    assert one.scatter == pytest.approx(0.1290994, rel=1e-6)
    assert one.uncertain == pytest.approx(0.0645497, rel=1e-6)
    assert one.entries == (1, 2, 3, 4)


def test_one_that_is_written_again_counts_once() -> None:
    (one,) = results(
        {"sample": "P1", "what": "tails", "value": "3 %"}, {"sample": "P1", "what": "tails", "value": "1 %"}
    )
    assert (one.value, one.n, one.scatter) == (1.0, 1, None)


def test_less_than_is_an_upper_bound_and_has_no_scatter() -> None:
    (one,) = results(
        {"sample": "P1", "what": "moisture", "value": "< 0.05 %", "method": "x", "replicate": 1},
        {"sample": "P1", "what": "moisture", "value": "0.03 %", "method": "x", "replicate": 2},
    )
    assert one.less_than and one.value == pytest.approx(0.04) and one.scatter is None


def test_other_conditions_stand_apart_and_other_units_do_not() -> None:
    rate = {"what": "melt-flow-rate", "value": "4.9 g/10min", "temperature": "190 Cel"}
    found = results(
        {**rate, "load": "5 kg"},
        {**rate, "load": "5000 g", "replicate": 2},
        {**rate, "load": "2.16 kg", "value": "1.1 g/10min"},
        what=What.PRE_ANALYSIS,
    )
    assert [(r.condition, r.n, r.value) for r in found] == [
        ("190 °C, 2.16 kg", 1, pytest.approx(1.1)),
        ("190 °C, 5 kg", 2, pytest.approx(4.9)),
    ]
