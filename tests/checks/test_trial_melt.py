"""Melt flow rates and melt densities against tables worked out apart."""

from __future__ import annotations

from collections.abc import Iterator
from csv import DictReader
from pathlib import Path

import pytest

from process.melt_density import TAIT
from process.melt_index import apparent_viscosity_pa_s, wall_shear_rate_per_s, wall_stress_pa

CHECKS = Path(__file__).resolve().parents[2].parent / "shared" / "checks"
NAMES = {"i-PP": "PP"}


def rows(name: str) -> Iterator[dict[str, str]]:
    path = CHECKS / name
    if not path.exists():
        pytest.skip("the folder of check values is not there")
    with path.open(encoding="utf-8") as file:
        yield from DictReader(line for line in file if not line.startswith("#"))


@pytest.mark.shared
def test_stress_and_shear_rate_of_the_standard_die():
    """ISO 1133-1 geometry: apparent values of five materials."""
    count = 0
    for row in rows("mfr_shear.csv"):
        mfr, load = float(row["MFR_g_per_10min"]), float(row["load_kg"])
        density = 1000 * float(row["melt_density_g_cm3"])
        assert wall_stress_pa(load) == pytest.approx(float(row["tau_wall_app_Pa"]), rel=1e-6)
        assert wall_shear_rate_per_s(mfr, density) == pytest.approx(float(row["gamma_app_1_s"]), rel=2e-5)
        viscosity = apparent_viscosity_pa_s(mfr, load, density)
        assert viscosity == pytest.approx(float(row["eta_app_Pa_s"]), rel=2e-5)
        count += 1
    assert count == 5


@pytest.mark.shared
def test_melt_densities_of_six_polymers():
    """Tait equation with the parameters of a published handbook, over temperature and pressure."""
    seen = set()
    for row in rows("melt_density_tait.csv"):
        name = NAMES.get(row["polymer"], row["polymer"])
        if name not in TAIT or row["inside_valid_T_range"] != "True":
            continue
        density = TAIT[name].density_kg_m3(float(row["T_C"]), 10 * float(row["P_MPa"]))
        assert density == pytest.approx(float(row["rho_kg_m3"]), abs=0.006)
        seen.add(name)
    assert seen == set(TAIT)


@pytest.mark.parametrize(
    ("polymer", "cel", "printed"), [("LDPE", 190, 760), ("HDPE", 190, 760), ("PP", 230, 740)]
)
def test_commonly_printed_melt_densities(polymer: str, cel: float, printed: float):
    """As melt flow testers are set; from memory."""
    assert TAIT[polymer].density_kg_m3(cel) == pytest.approx(printed, rel=0.01)
