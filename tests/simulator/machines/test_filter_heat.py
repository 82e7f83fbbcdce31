"""Heat in the filter: heating up full of solid plastic, the dip when melt comes, standing still."""

from __future__ import annotations

from math import exp

import pytest

from simulator.machines.filter import FILM_FILTER, MeltFilter
from simulator.machines.melt import POLYMERS
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets


def _filter(start_cel: float) -> MeltFilter:
    machine = MeltFilter(FILM_FILTER, POLYMERS["LDPE"], start_cel=start_cel)
    for zone in (*machine.plates, machine.block):
        zone.enabled = True
    return machine


def _stand(machine: MeltFilter, upsets: Upsets, seconds: int) -> None:
    for _ in range(seconds):
        machine.step(1.0, Site(), upsets, 0.0, 20.0, 0.0, 1.0, 0.0, 0.0)


def test_plates_are_warm_after_three_quarters_of_an_hour_and_one_that_lost_an_element_after_an_hour() -> None:
    machine = _filter(20.0)
    upsets = Upsets()
    upsets.zone("filter.plate.6").power = 2.0 / 3.0
    warm: dict[str, int] = {}
    for minute in range(1, 71):
        _stand(machine, upsets, 60)
        for zone in machine.plates:
            if zone.true_cel >= 215.0:
                warm.setdefault(zone.name, minute)
    assert warm["filter.plate.2"] == pytest.approx(45, abs=2)
    assert warm["filter.plate.6"] == pytest.approx(61, abs=3)


def test_the_core_lags_the_plates_while_soaking() -> None:
    machine = _filter(20.0)
    _stand(machine, Upsets(), 50 * 60)
    assert machine.plates[0].sensed_cel > 215.0
    assert machine.out_cel < 160.0
    _stand(machine, Upsets(), 40 * 60)
    assert 190.0 < machine.out_cel < 218.0
    assert machine.plates[0].output_percent == pytest.approx(34.0, abs=3.0)


def test_all_plates_dip_together_when_cold_melt_comes_and_come_back() -> None:
    machine = _filter(220.0)
    _stand(machine, Upsets(), 5400)
    lowest = [300.0] * 8
    for second in range(1500):
        in_cel = 218.0 - 60.0 * exp(-second / 180.0)
        machine.step(1.0, Site(), Upsets(), 400.0 / 3600.0, in_cel, 0.0, 1.0, 0.0, 0.0)
        lowest = [min(low, zone.true_cel) for low, zone in zip(lowest, machine.plates, strict=True)]
    dips = [220.0 - low for low in lowest]
    assert all(1.0 < dip < 6.0 for dip in dips)
    assert max(dips) - min(dips) < 0.2
    assert all(zone.true_cel == pytest.approx(220.0, abs=1.0) for zone in machine.plates)


def test_melt_that_stands_follows_the_plates() -> None:
    machine = _filter(220.0)
    for zone in machine.plates:
        zone.enabled = False
    _stand(machine, Upsets(), 3600)
    plates = machine.plates[0].true_cel
    assert plates < 160.0
    assert machine.out_cel == pytest.approx(plates + 25.0, abs=20.0)
