"""What a lot of feed brings along."""

from __future__ import annotations

import pytest

from simulator.machines.material import MATERIALS
from simulator.machines.upsets import Upsets


def test_water_and_dirt_come_with_the_lot_and_with_what_is_wrong() -> None:
    film = MATERIALS["film"]
    upsets = Upsets(moisture_percent=0.75, dirt_factor=2.0)
    assert film.moisture_share(Upsets()) == pytest.approx(0.0042)
    assert film.moisture_share(upsets) == pytest.approx(0.0117)
    assert film.dirt_share(upsets) == pytest.approx(0.028)


def test_a_drier_lot_cannot_have_less_than_no_water() -> None:
    assert MATERIALS["film"].moisture_share(Upsets(moisture_percent=-5.0)) == 0.0


def test_stiffness_has_the_lot_the_fault_and_the_rest_of_the_last_material() -> None:
    film = MATERIALS["film"]
    assert film.stiffness(Upsets()) == 1.0
    assert film.stiffness(Upsets(viscosity_factor=1.5)) == pytest.approx(1.5)
    rest = Upsets(viscosity_factor=1.5, residue_share=0.5, residue_viscosity_factor=4.0)
    assert film.stiffness(rest) == pytest.approx(3.0)


@pytest.mark.parametrize("name", sorted(MATERIALS))
def test_every_material_is_fit_to_be_fed(name: str) -> None:
    material = MATERIALS[name]
    assert 80.0 <= material.bulk_density_kg_m3 <= 450.0
    assert 0.0 <= material.moisture_percent <= 3.0
    assert material.bulk_density_kg_m3 < material.polymer.density_kg_m3
