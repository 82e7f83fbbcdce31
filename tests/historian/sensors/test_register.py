"""The register says how uncertain a value is, for now and for back then, and never what it should have been."""

from __future__ import annotations

import math
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.catalogue import canonical_tag
from historian.sensors.register import (
    DAY_NS,
    Check,
    Point,
    Register,
    Sensor,
    Standing,
    day_ns,
    error_at,
    uncertainty,
)
from historian.sensors.tolerance import Tolerance

PRESSURE = canonical_tag("filter.inlet.pressure.pv")
YEAR_NS = 365 * DAY_NS
SENSOR = Sensor(
    PRESSURE.path, "MP-1", "melt pressure", 0.0, 350.0, Tolerance("0.5 % of the range", 1.75), YEAR_NS
)
FIRST = date(2025, 3, 1)
SECOND = FIRST + timedelta(days=365)
ROOT3 = math.sqrt(3.0)


def rows(*pairs: tuple[float, float]) -> tuple[Point, ...]:
    return tuple(Point(*p) for p in pairs)


def check(day: date, found: tuple[Point, ...] = (), left: tuple[Point, ...] = (), **more: object) -> Check:
    return Check("MP-1", day, "workshop", found, left, **more)  # type: ignore[arg-type]


CHECKS = [
    check(FIRST, rows((0, 3), (200, 206)), rows((0, 0.2), (200, 200.6)), reference=0.1),
    check(SECOND, rows((0, 1.2), (200, 201.6)), reference=0.1, certificate="C-17"),
]


def test_never_checked_it_is_as_good_as_its_maker_promises() -> None:
    u = uncertainty(SENSOR, [], 120.0, day_ns(FIRST))
    assert u.parts == {"accuracy": pytest.approx(1.75 / ROOT3)}
    assert "MP-1" in u.basis and "0.5 %" in u.basis and "not checked" in u.basis


def test_after_a_first_check_it_drifts_to_its_makers_limit_in_one_interval() -> None:
    at_once = uncertainty(SENSOR, CHECKS[:1], 100.4, day_ns(FIRST))
    assert at_once.parts == pytest.approx({"error": 0.4, "drift": 0.0, "reference": 0.1})
    half = uncertainty(SENSOR, CHECKS[:1], 100.4, day_ns(FIRST) + YEAR_NS // 2)
    assert half.parts["drift"] == pytest.approx(0.875 / ROOT3)
    overdue = uncertainty(SENSOR, CHECKS[:1], 100.4, day_ns(FIRST) + 3 * YEAR_NS)
    assert overdue.parts["drift"] == pytest.approx(3 * 1.75 / ROOT3)


def test_between_two_checks_the_later_one_tells_what_had_become_of_it() -> None:
    u = uncertainty(SENSOR, CHECKS, 200.0, day_ns(FIRST) + YEAR_NS // 2)
    # From 0.6 as left to 1.6 as found, at half the time, to a little at this reading.
    left, found = error_at(CHECKS[0].left, 200.0), error_at(CHECKS[1].found, 200.0)
    assert u.parts["error"] == pytest.approx((left + found) / 2)
    assert u.parts["drift"] == pytest.approx((found - left) / 2 / ROOT3)


def test_after_several_checks_it_drifts_as_fast_as_it_did() -> None:
    u = uncertainty(SENSOR, CHECKS, 0.2, day_ns(SECOND) + 2 * YEAR_NS)
    shift = error_at(CHECKS[1].found, 0.2) - error_at(CHECKS[0].left, 0.2)
    assert u.parts["drift"] == pytest.approx(2 * shift / ROOT3)
    assert "checked on 2026-03-01, certificate C-17" in u.basis


def test_before_the_first_check_what_it_found_counts_too() -> None:
    u = uncertainty(SENSOR, CHECKS, 206.0, day_ns(FIRST) - DAY_NS)
    assert u.parts == {"accuracy": pytest.approx(1.75 / ROOT3), "error": pytest.approx(6.0)}


def test_a_reference_of_which_nothing_is_said_is_a_quarter_of_the_sensor() -> None:
    u = uncertainty(SENSOR, [check(FIRST, rows((0, 0), (200, 200)))], 100.0, day_ns(FIRST))
    assert u.parts["reference"] == pytest.approx(1.75 / 4 / ROOT3)
    assert u.standard > 0.0


def test_a_look_at_the_zero_is_no_check_but_tells_a_shift() -> None:
    look = check(FIRST + timedelta(days=30), zero=Point(0.0, 1.5))
    after = day_ns(FIRST) + 31 * DAY_NS
    u = uncertainty(SENSOR, [CHECKS[0], look], 100.0, after)
    assert u.parts["zero"] == pytest.approx(1.5 - error_at(CHECKS[0].left, 1.5))
    assert "zero" not in uncertainty(SENSOR, [CHECKS[0], look], 100.0, after - 2 * DAY_NS).parts
    assert uncertainty(SENSOR, [look], 100.0, after).parts["zero"] == 1.5
    register = Register.of([SENSOR], [look, CHECKS[0]])
    assert register.standing(SENSOR, after)[1] == day_ns(FIRST) + YEAR_NS
    assert Register.of([SENSOR], [look]).standing(SENSOR, after) == (Standing.NEVER, None)


def test_a_zero_that_was_set_again_is_none_any_more() -> None:
    look = check(FIRST + timedelta(days=30), left=rows((0, 0.2)), zero=Point(0.0, 1.5))
    u = uncertainty(SENSOR, [CHECKS[0], look], 100.0, day_ns(FIRST) + 31 * DAY_NS)
    assert u.parts["zero"] == pytest.approx(0.0)


def test_the_standing_follows_the_days() -> None:
    register = Register.of([SENSOR], CHECKS[:1])
    due_ns = day_ns(FIRST) + YEAR_NS
    for now_ns, standing in (
        (due_ns - 31 * DAY_NS, Standing.CHECKED),
        (due_ns - 30 * DAY_NS, Standing.DUE),
        (due_ns - 1, Standing.DUE),
        (due_ns, Standing.OVERDUE),
    ):
        assert register.standing(SENSOR, now_ns) == (standing, due_ns)
    assert Register((SENSOR,)).standing(SENSOR, 0) == (Standing.NEVER, None)


def test_each_time_has_the_sensor_that_was_fitted_then() -> None:
    later = Sensor(PRESSURE.path, "MP-2", "", 0.0, 500.0, Tolerance("", 5.0), YEAR_NS, fitted=SECOND)
    register = Register.of([later, SENSOR], CHECKS)
    assert register.sensor_at(PRESSURE.path, day_ns(SECOND) - 1) is SENSOR
    assert register.sensor_at(PRESSURE.path, day_ns(SECOND)) is later
    assert register.fitted(day_ns(SECOND)) == [later]
    before = register.uncertainty(PRESSURE, 100.0, day_ns(SECOND) - 1)
    after = register.uncertainty(PRESSURE, 100.0, day_ns(SECOND))
    assert before is not None and "MP-1" in before.basis
    assert after is not None and after.parts == {"accuracy": pytest.approx(5.0 / ROOT3)}


def test_without_a_sensor_the_default_is_used_and_said() -> None:
    u = Register().uncertainty(PRESSURE, 100.0, 0)
    assert u is not None and "not" not in u.parts and "no sensor" in u.basis and "assumed" in u.basis
    assert u.expanded == pytest.approx(2 * 5.1 / ROOT3)
    assert Register().uncertainty(canonical_tag("filter.wiper.state"), 1.0, 0) is None


POINTS = st.lists(
    st.tuples(st.floats(0, 350), st.floats(-20, 20)).map(lambda p: Point(p[0], p[0] + p[1])), max_size=4
).map(tuple)
HISTORY = st.lists(st.tuples(st.integers(0, 2000), POINTS, POINTS), max_size=4)


@given(HISTORY, st.floats(-50, 500), st.integers(-100, 4000), st.sampled_from([None, 0.1]))
def test_it_is_always_a_finite_number_and_never_less_than_any_part(
    history: list[tuple[int, tuple[Point, ...], tuple[Point, ...]]],
    value: float,
    days: int,
    step: float | None,
) -> None:
    sensor = Sensor("a.b.pv", "MP-1", "", 0.0, 350.0, Tolerance("", 1.75), YEAR_NS, resolution=step)
    checks = sorted(
        (check(FIRST + timedelta(days=d), f, left) for d, f, left in history), key=lambda c: c.day
    )
    u = uncertainty(sensor, checks, value, day_ns(FIRST) + days * DAY_NS)
    assert math.isfinite(u.standard) and u.standard > 0.0
    assert all(0.0 <= part <= u.standard * (1 + 1e-12) for part in u.parts.values())


@given(st.integers(0, 2000), st.integers(0, 2000))
def test_it_never_gets_better_by_waiting(first: int, second: int) -> None:
    sooner, later = sorted((first, second))
    start = day_ns(SECOND)
    a, b = (uncertainty(SENSOR, CHECKS, 150.0, start + d * DAY_NS).standard for d in (sooner, later))
    assert a <= b
