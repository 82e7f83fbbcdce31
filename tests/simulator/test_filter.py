from __future__ import annotations

from itertools import pairwise

import pytest

from simulator.filter import ORDINARY_REST, FilterDesign, MeltFilter, Trigger, WiperState

FLOW_KG_S = 0.2
DIRT = 0.02
DESIGN = FilterDesign()


def _filter() -> MeltFilter:
    return MeltFilter(DESIGN, start_cel=220.0, loss_factors=[1.0] * 9)


def _step(
    melt_filter: MeltFilter, dp_bar: float = 0.0, rest: float = ORDINARY_REST, inhibited: bool = False
) -> float:
    return melt_filter.step_screen(1.0, FLOW_KG_S, DIRT, dp_bar, rest, inhibited)


def test_the_clean_screen_resists_after_darcy() -> None:
    # Closed form: 195.7 Pa.s at 2.485e-3 m/s through 4.1e6 1/m is 19.94 bar.
    assert _filter().difference_bar(195.7, 2.485e-3 * 0.1178) == pytest.approx(19.94, abs=0.01)


def test_the_cake_grows_in_proportion_to_the_dirt_held() -> None:
    melt_filter = _filter()
    for _ in range(100):
        _step(melt_filter)
    held_kg = DIRT * DESIGN.retention * FLOW_KG_S * 100
    assert melt_filter.held_kg == pytest.approx(held_kg)
    assert melt_filter.cake_1_m == pytest.approx(DESIGN.cake_m_kg * held_kg / DESIGN.area_m2)


def test_dirt_caught_is_dirt_held_or_discharged_and_the_melt_lost_is_counted() -> None:
    melt_filter = _filter()
    left_kg = 0.0
    for second in range(1000):
        left_kg += _step(melt_filter, dp_bar=50.0 if second % 300 > 280 else 0.0)
    assert melt_filter.wipes == 3
    caught_kg = DIRT * DESIGN.retention * FLOW_KG_S * 1000
    carried_kg = 3 * DESIGN.carry_kg
    assert left_kg == pytest.approx(caught_kg + carried_kg)
    assert melt_filter.held_kg + melt_filter.discharged_kg == pytest.approx(left_kg)
    assert melt_filter.discharged_kg > carried_kg + 0.8 * caught_kg


def test_the_trigger_must_hold_before_the_wiper_starts() -> None:
    melt_filter = _filter()
    for dp_bar in (46.0, 46.0, 46.0, 44.0, 46.0, 46.0, 46.0):
        _step(melt_filter, dp_bar)
    assert melt_filter.state is WiperState.PARKED
    _step(melt_filter, 46.0)
    assert melt_filter.state is WiperState.WIPING
    assert melt_filter.last_trigger is Trigger.PRESSURE_DIFFERENCE


def test_the_clock_starts_a_cleaning_when_the_pressure_does_not() -> None:
    melt_filter = _filter()
    for _ in range(539):
        _step(melt_filter, 30.0)
    assert melt_filter.state is WiperState.PARKED
    _step(melt_filter, 30.0)
    assert (melt_filter.state, melt_filter.last_trigger) == (WiperState.WIPING, Trigger.CLOCK)


def test_without_melt_no_trigger_counts() -> None:
    melt_filter = _filter()
    for _ in range(1000):
        melt_filter.step_screen(1.0, 0.0, DIRT, 60.0, ORDINARY_REST, inhibited=False)
    assert melt_filter.wipes == 0


def test_an_inhibited_trigger_is_not_heard_but_the_button_is() -> None:
    melt_filter = _filter()
    for _ in range(60):
        _step(melt_filter, 60.0, inhibited=True)
    assert melt_filter.state is WiperState.PARKED
    assert melt_filter.trigger_unheard
    melt_filter.ask_for_wipe()
    _step(melt_filter, 60.0, inhibited=True)
    assert (melt_filter.state, melt_filter.last_trigger) == (WiperState.WIPING, Trigger.BY_HAND)


@pytest.mark.parametrize("rest", [ORDINARY_REST, 0.03])
def test_a_cleaning_takes_the_cake_and_leaves_a_rest_for_good(rest: float) -> None:
    melt_filter = _filter()
    for _ in range(300):
        _step(melt_filter)
    melt_filter.ask_for_wipe()
    _step(melt_filter)
    cake = melt_filter.cake_1_m
    while melt_filter.state is WiperState.WIPING:
        melt_filter.step_screen(1.0, FLOW_KG_S, 0.0, 0.0, rest, inhibited=False)
    assert melt_filter.lasting_1_m == pytest.approx(rest * cake)
    assert melt_filter.cake_1_m == pytest.approx((1.0 - DESIGN.effectiveness - rest) * cake)


def test_the_wiper_turns_while_it_wipes_and_rests_at_park() -> None:
    melt_filter = _filter()
    melt_filter.ask_for_wipe()
    _step(melt_filter)
    angles, turning = [], 0
    while melt_filter.state is WiperState.WIPING:
        assert melt_filter.torque_percent > 20.0
        angles.append(melt_filter.angle_deg)
        turning += 1
        _step(melt_filter)
    assert turning == DESIGN.wipe_s
    assert max(angles) > 300.0
    assert sum(b < a for a, b in pairwise(angles)) == DESIGN.wipe_revs - 1
    assert (melt_filter.angle_deg, melt_filter.speed_min, melt_filter.torque_percent) == (0.0, 0.0, 0.0)


def test_a_cold_plate_weighs_on_the_wiper() -> None:
    warm, cold = _filter(), _filter()
    cold.plates[4].true_cel = 190.0
    for melt_filter in (warm, cold):
        melt_filter.ask_for_wipe()
        _step(melt_filter)
    assert cold.torque_percent == pytest.approx(warm.torque_percent + 0.15 * 30.0)


def test_the_scale_shows_whole_steps_late_and_never_falls() -> None:
    melt_filter = _filter()
    shown = []
    for second in range(400):
        _step(melt_filter, dp_bar=50.0 if second > 300 else 0.0)
        shown.append((melt_filter.discharged_kg, melt_filter.scale_kg))
    late = DESIGN.scale_delay_s
    for (true_kg, _), (_, scale_kg) in zip(shown, shown[late:], strict=False):
        assert 0.0 <= true_kg - scale_kg < DESIGN.scale_step_kg + 1e-6
    assert all(b >= a for (_, a), (_, b) in pairwise(shown))
