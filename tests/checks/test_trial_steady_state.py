"""The ratio of two variances against quantiles worked out apart by simulation (S. Cao, R. R. Rhinehart, 1995)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from process.steady_state import CRITICAL_R_95, SteadyTest

TABLE = Path(__file__).resolve().parents[2].parent / "shared" / "checks" / "steady_state_R_quantiles.csv"


def rows() -> np.ndarray:
    if not TABLE.exists():
        pytest.skip("the folder of check values is not there")
    table: np.ndarray = np.genfromtxt(TABLE, delimiter=",", names=True, comments="#")
    return table


@pytest.mark.shared
def test_the_critical_values_are_those_of_the_table():
    listed = {(r["lambda1"], r["lambda2"], r["lambda3"]): r["q95"] for r in rows()}
    assert dict(CRITICAL_R_95) == pytest.approx(listed)


@pytest.mark.shared
def test_the_ratios_of_white_noise_are_spread_as_in_the_table():
    for row in rows():
        factors = (row["lambda1"], row["lambda2"], row["lambda3"])
        test = SteadyTest(*factors, critical=row["q95"], settle=200)
        ratios = test.ratios(np.random.default_rng(95).standard_normal(60_000))
        ratios = ratios[~np.isnan(ratios)]
        found = np.quantile(ratios, [0.01, 0.05, 0.5, 0.95, 0.99])
        wanted = [row[q] for q in ("q01", "q05", "q50", "q95", "q99")]
        # Neighbouring ratios follow one another: sixty thousand are worth about a tenth of that.
        assert found == pytest.approx(wanted, rel=0.04)
        assert ratios.mean() == pytest.approx(row["mean"], abs=0.02)


@pytest.mark.parametrize(("factors", "critical"), [((0.2, 0.1, 0.1), 1.44)])
def test_the_usual_critical_value_as_remembered_from_the_published_table(
    factors: tuple[float, float, float], critical: float
):
    """J. Process Control 7 (1997) 149-152, 95 %; from memory."""
    assert CRITICAL_R_95[factors] == pytest.approx(critical, abs=0.01)
