"""The meters: power and energy of the line and of each consumer, the hall's gauges."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.machines.meters import CONSUMERS, Meters, MetersDesign
from simulator.machines.site import Site

METERED = len(CONSUMERS) - 1


def test_the_line_takes_what_its_consumers_take() -> None:
    # A line of 780 kg/h: drive 148, heaters 9.5, filter 6, after it 14.5, vacuum 3, base 11 make 192 kW.
    meters = Meters(MetersDesign(), Site())
    taken = [148.0, 9.5, 0.0, 5.0, 1.0, 4.2, 2.0, 3.9, 4.4, 3.0, 0.0]
    for _ in range(3600):
        meters.step(1.0, Site(), taken, 6.0)
    assert meters.line_kw == pytest.approx(192.0)
    assert meters.line_kwh == pytest.approx(192.0)
    assert meters.by_consumer_kw["base load"] == 11.0
    assert meters.by_consumer_kwh["screw drive"] == pytest.approx(148.0)
    assert meters.cooling_water_m3_h == 6.0


@given(st.lists(st.floats(0.0, 300.0), min_size=METERED, max_size=METERED), st.floats(0.7, 1.1))
def test_the_sum_of_the_parts_is_the_whole(taken: list[float], mains: float) -> None:
    meters = Meters(MetersDesign(), Site())
    before = 0.0
    for _ in range(20):
        meters.step(1.0, Site(mains_share=mains), taken, 0.0)
        assert meters.shown_kwh >= before
        before = meters.shown_kwh
    assert sum(meters.by_consumer_kw.values()) == pytest.approx(meters.line_kw, abs=1e-9)
    assert sum(meters.by_consumer_kwh.values()) == pytest.approx(meters.line_kwh, abs=1e-9)
    assert 0.0 <= meters.line_kwh - meters.shown_kwh < 0.1 + 1e-9


def test_the_gauges_follow_the_hall() -> None:
    meters = Meters(MetersDesign(), Site())
    low = Site(air_bar=4.0, cooling_water_cel=24.0)
    taken = [0.0] * METERED
    taken[CONSUMERS.index("vacuum")] = 3.0
    for _ in range(900):
        meters.step(1.0, low, taken, 0.0)
    assert meters.air_bar == pytest.approx(4.0, abs=1e-6)
    assert meters.cooling_water_cel == 24.0
    assert meters.vacuum_water_cel == pytest.approx(30.0, abs=0.1)
