"""One heated zone against closed forms of its first-order balance (Newton's law of cooling)."""

from __future__ import annotations

from math import exp

import pytest

from simulator.heaters import FILTER_PLATE, HeatedZone, step_ring, step_row

HALL_CEL = 20.0


def _plate(start_cel: float, setpoint_cel: float = 220.0) -> HeatedZone:
    return HeatedZone(FILTER_PLATE, start_cel=start_cel, setpoint_cel=setpoint_cel)


def _run(zone: HeatedZone, seconds: int, gained_kw: float = 0.0) -> None:
    for _ in range(seconds):
        zone.step(1.0, HALL_CEL, gained_kw)


@pytest.mark.parametrize("seconds", [60, 600, 6750])
def test_a_cold_heater_cools_after_newton(seconds: int) -> None:
    # Closed form: T = T_hall + (T_0 - T_hall) exp(-UA t / C).
    zone = _plate(220.0)
    _run(zone, seconds)
    decay = exp(-FILTER_PLATE.loss_kw_k * seconds / FILTER_PLATE.capacity_kj_k)
    assert zone.true_cel == pytest.approx(HALL_CEL + 200.0 * decay, abs=0.02)


@pytest.mark.parametrize("seconds", [60, 600, 1800])
def test_a_heater_fully_on_warms_after_newton(seconds: int) -> None:
    # Closed form: T = T_hall + P/UA (1 - exp(-UA t / C)); far below its set-point the controller is fully on.
    zone = _plate(HALL_CEL)
    zone.enabled = True
    _run(zone, seconds)
    rise = FILTER_PLATE.power_kw / FILTER_PLATE.loss_kw_k
    expected = HALL_CEL + rise * (1.0 - exp(-FILTER_PLATE.loss_kw_k * seconds / FILTER_PLATE.capacity_kj_k))
    assert zone.duty == 1.0
    assert zone.true_cel == pytest.approx(expected, abs=0.05)


def test_heat_in_less_heat_out_is_heat_kept() -> None:
    zone = _plate(HALL_CEL)
    zone.enabled = True
    heat_kj = lost_kj = 0.0
    for _ in range(5000):
        before = zone.true_cel
        zone.step(1.0, HALL_CEL, 0.1)
        heat_kj += zone.heat_kw + 0.1
        lost_kj += FILTER_PLATE.loss_kw_k * (before - HALL_CEL)
    kept_kj = FILTER_PLATE.capacity_kj_k * (zone.true_cel - HALL_CEL)
    assert heat_kj - lost_kj == pytest.approx(kept_kj, rel=1e-9)


def test_at_rest_the_duty_covers_the_loss() -> None:
    zone = _plate(HALL_CEL)
    zone.enabled = True
    _run(zone, 4 * 3600)
    assert zone.sensed_cel == pytest.approx(220.0, abs=0.1)
    assert zone.duty == pytest.approx(FILTER_PLATE.loss_kw_k * 200.0 / FILTER_PLATE.power_kw, abs=0.005)


def test_neighbours_give_to_each_other_and_lose_nothing() -> None:
    plates = [_plate(100.0 + 10.0 * k) for k in range(8)]
    for plate in plates:
        plate.loss_kw_k = 0.0
    for _ in range(600):
        step_ring(plates, 1.0, HALL_CEL, 0.0, 0.0)
    temps = [plate.true_cel for plate in plates]
    assert sum(temps) == pytest.approx(8 * 135.0, rel=1e-12)
    assert max(temps) - min(temps) < 60.0


def test_in_a_row_the_ends_touch_one_neighbour_only() -> None:
    hot, cold = _plate(200.0), _plate(100.0)
    other = _plate(100.0)
    for zone in (hot, cold, other):
        zone.loss_kw_k = 0.0
    step_row([hot, cold, other], 1.0, HALL_CEL, [0.0, 0.0, 0.0])
    flow_k = FILTER_PLATE.neighbour_kw_k * 100.0 / FILTER_PLATE.capacity_kj_k
    assert [z.true_cel for z in (hot, cold, other)] == pytest.approx([200.0 - flow_k, 100.0 + flow_k, 100.0])


def test_a_plate_taken_out_or_burnt_out_gets_no_heat() -> None:
    out, burnt = _plate(100.0), _plate(100.0)
    out.enabled = burnt.enabled = True
    out.taken_out = True
    burnt.power_factor = 0.0
    for zone in (out, burnt):
        _run(zone, 30)
    assert (out.output_percent, out.current_a) == (0.0, 0.0)
    assert (burnt.output_percent, burnt.current_a) == (100.0, 0.0)
    assert out.true_cel == burnt.true_cel < 100.0
