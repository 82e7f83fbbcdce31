"""Currents and voltages become values, and broken wires never a number."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.reading.channel import KINDS, Channel
from collector.reading.mapping import Reading, SourceMapping, TagMapping, tags_of
from historian.catalogue import canonical_tag
from historian.errors import UnitMismatch, WrongInput
from historian.quality import GOOD, LAST_USABLE, NO_COMMUNICATION, SENSOR_FAILURE, SENSOR_NOT_ACCURATE

PATH = "filter.inlet.pressure.pv"


def reading(channel: Channel, unit: str) -> Reading:
    return Reading(TagMapping(PATH, "P1", unit, channel=channel), canonical_tag(PATH))


def loop(unit: str = "mA", raw: tuple[float, float] | None = None) -> Reading:
    return reading(Channel("4-20 mA", 0, 300, "bar", raw), unit)


@pytest.mark.parametrize(
    ("unit", "raw", "of_ma"),
    [
        ("mA", None, lambda i: i),
        ("A", None, lambda i: float(f"{i / 1000:.12g}")),
        ("%", None, lambda i: float(f"{(i - 4) / 0.16:.12g}")),
        ("1", (0, 27648), lambda i: (i - 4) / 16 * 27648),
        ("1", (27648, 0), lambda i: 27648 - (i - 4) / 16 * 27648),
    ],
)
def test_the_same_current_however_it_is_delivered(unit: str, raw, of_ma) -> None:  # type: ignore[no-untyped-def]
    one = loop(unit, raw)
    for current, value, quality in (
        (12.0, 150.0, GOOD),
        (4.0, 0.0, GOOD),
        (20.0, 300.0, GOOD),
        (3.9, -1.875, GOOD),
        (3.7, -5.625, SENSOR_NOT_ACCURATE),
        (20.75, 314.0625, SENSOR_NOT_ACCURATE),
    ):
        got, told = one.take(of_ma(current), GOOD)
        assert got == pytest.approx(value, abs=1e-9) and told == quality
    for current in (3.59, 0.0, -1.0, 21.01, 24.0):
        got, told = one.take(of_ma(current), GOOD)
        assert math.isnan(got) and told == SENSOR_FAILURE


def test_a_range_may_fall_as_the_signal_rises() -> None:
    falling = reading(Channel("4-20 mA", 300, 0, "bar"), "mA")
    assert falling.take(4.0, GOOD) == (300.0, GOOD)
    assert falling.take(3.8, GOOD) == (303.75, GOOD)
    assert falling.take(3.7, GOOD)[1] == falling.take(20.9, GOOD)[1] == SENSOR_NOT_ACCURATE
    assert falling.take(3.6, GOOD)[1] == falling.take(21.0, GOOD)[1] == SENSOR_FAILURE


def test_the_ranges_unit_becomes_the_tags() -> None:
    assert reading(Channel("4-20 mA", 0, 30, "MPa"), "mA").take(12.0, GOOD) == (150.0, GOOD)


def test_the_source_may_know_more_than_the_signal() -> None:
    one = loop()
    assert one.take(12.0, LAST_USABLE) == (150.0, LAST_USABLE)
    assert one.take(3.7, LAST_USABLE)[1] == LAST_USABLE
    assert one.take(3.5, LAST_USABLE)[1] == SENSOR_FAILURE
    assert one.take(12.0, NO_COMMUNICATION)[1] == NO_COMMUNICATION


@pytest.mark.parametrize("kind", ["0-10 V", "0-20 mA"])
def test_without_a_live_zero_nothing_is_never_a_good_zero(kind: str) -> None:
    one = reading(Channel(kind, 0, 250, "bar"), KINDS[kind].unit)
    top = KINDS[kind].top
    for near in (-0.02, 0.0, 0.009):
        value, quality = one.take(near * top, GOOD)
        assert quality == SENSOR_NOT_ACCURATE and value == pytest.approx(near * 250)
    assert one.take(0.011 * top, GOOD)[1] == GOOD
    assert one.take(top, GOOD) == (250.0, GOOD)
    assert one.take(1.06 * top, GOOD)[1] in (SENSOR_NOT_ACCURATE, SENSOR_FAILURE)


def test_how_near_nothing_is_doubted_can_be_set() -> None:
    one = reading(Channel("0-10 V", 0, 250, "bar", near_nothing=0.05), "V")
    assert one.take(0.4, GOOD)[1] == SENSOR_NOT_ACCURATE
    assert one.take(0.6, GOOD) == (15.0, GOOD)


@given(st.sampled_from(sorted(KINDS)), st.floats(-1e6, 1e6), st.floats(-100, 500), st.floats(1, 500))
def test_no_signal_passes_for_good_outside_of_its_limits(
    kind: str, x: float, bottom: float, span: float
) -> None:
    about = KINDS[kind]
    value, quality = reading(Channel(kind, bottom, bottom + span, "bar"), about.unit).take(x, GOOD)
    least = about.low if about.low is not None else 0.01 * (about.top - about.bottom)
    edge = 1e-9 * about.top
    if quality == GOOD:
        assert least - edge <= x <= about.high + edge
        assert bottom - 0.02 * span <= value <= bottom + 1.06 * span
    elif quality == SENSOR_FAILURE:
        assert math.isnan(value) and (x <= about.fails_low + edge or x >= about.fails_high - edge)
    else:
        assert quality == SENSOR_NOT_ACCURATE and math.isfinite(value)


def test_a_unit_that_is_no_such_signal_is_refused() -> None:
    with pytest.raises(UnitMismatch, match="delivers mA"):
        loop("bar")
    with pytest.raises(UnitMismatch, match="delivers V"):
        reading(Channel("0-10 V", 0, 250, "bar"), "mA")
    with pytest.raises(UnitMismatch, match="Cel"):
        reading(Channel("4-20 mA", 0, 250, "Cel"), "mA")


@pytest.mark.parametrize(
    ("about", "said"),
    [
        ({"kind": "4-20"}, "no kind of channel"),
        ({"top": 0.0}, "two different ends"),
        ({"raw": (1.0, 1.0)}, "two different ends"),
        ({"top": math.inf}, "finite"),
        ({"near_nothing": 0.5}, "part of the signal"),
    ],
)
def test_a_channel_that_cannot_be_is_refused(about: dict[str, object], said: str) -> None:
    whole: dict[str, object] = {"kind": "4-20 mA", "bottom": 0.0, "top": 250.0, "unit": "bar", **about}
    with pytest.raises(WrongInput, match=said):
        Channel(**whole)  # type: ignore[arg-type]


def test_a_tag_of_ones_own_has_the_unit_that_its_sensor_measures() -> None:
    own = TagMapping("own.level.pv", "L1", "mA", channel=Channel("4-20 mA", 0, 2, "m"))
    (tag,) = tags_of([SourceMapping("m", "", True, (own,))])
    assert tag.unit == "m"
    assert Reading(own, tag).take(12.0, GOOD) == (1.0, GOOD)
