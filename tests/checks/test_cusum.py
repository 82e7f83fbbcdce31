"""The cumulative sums against two published worked examples."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from process.level_shift import Cusum

pytestmark = pytest.mark.shared

CHECKS = Path(__file__).resolve().parents[2].parent / "shared" / "checks"


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((CHECKS / name).read_text(encoding="utf-8").splitlines()))


def test_handbook_example():
    """NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k 0.3175, h 4.1959; data as transcribed, from memory."""
    sums, signals = Cusum(slack=0.3175), []
    for row in rows("nist_cusum.csv"):
        sums.push(float(row["x"]) - 325)
        assert sums.high == pytest.approx(float(row["s_hi"]), abs=0.006)
        assert sums.low == pytest.approx(float(row["s_lo"]), abs=0.006)
        signals.append(sums.high > 4.1959)
    assert signals.index(True) == 13  # the fourteenth point
    assert sums.high == pytest.approx(19.035, abs=0.006)


def test_textbook_example():
    """Applied Statistics and Probability for Engineers, example 16-6, table 16-8: target 99, K 1."""
    sums = Cusum(slack=1.0)
    for row in rows("textbook_cusum.csv"):
        sums.push(float(row["x"]) - 99)
        assert sums.high == pytest.approx(float(row["s_hi_published"]), abs=1e-9)
        assert sums.low == pytest.approx(float(row["s_lo_published"]), abs=1e-9)
