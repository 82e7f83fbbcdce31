"""What a source says becomes the tag's number, or says why not."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.reading.mapping import TYPE_MISMATCH, Reading, SourceMapping, TagMapping, tags_of
from historian import Tag, TagKind, UnitMismatch
from historian.catalogue import canonical_tag
from historian.quality import GOOD, LAST_USABLE, NO_COMMUNICATION, RANGE_EXCEEDED, SENSOR_FAILURE

PRESSURE = "filter.inlet.pressure.pv"


def reading(unit: str = "bar", path: str = PRESSURE) -> Reading:
    return Reading(TagMapping(path, "ns=2;s=P1", unit), canonical_tag(path))


def test_units_are_converted() -> None:
    assert reading("MPa").take(12.5, GOOD) == (125.0, GOOD)
    value, _ = reading("[degF]", "extruder.melt.temp.pv").take(212, GOOD)
    assert value == pytest.approx(100.0)


def test_a_unit_that_measures_something_else_is_refused() -> None:
    with pytest.raises(UnitMismatch, match="Cel"):
        reading("Cel")


def test_booleans_and_enumerations_are_numbers() -> None:
    switch = reading("1", "extruder.enable.state")
    assert [switch.take(x, GOOD) for x in (True, False, 1)] == [(1.0, 0), (0.0, 0), (1.0, 0)]
    assert reading("1", "filter.wiper.state").take(3, GOOD) == (3.0, GOOD)


@pytest.mark.parametrize("raw", [None, math.nan, math.inf, -math.inf])
def test_what_is_no_finite_number_is_a_broken_sensor(raw: float | None) -> None:
    for quality in (GOOD, LAST_USABLE):
        mended = reading()
        value, kept = mended.take(raw, quality)
        assert math.isnan(value) and kept == SENSOR_FAILURE
        assert mended.mended == 1


@pytest.mark.parametrize("raw", ["12.5", [1.0, 2.0], {"a": 1}])
def test_texts_and_arrays_are_not_guessed_at(raw: object) -> None:
    value, quality = reading().take(raw, GOOD)
    assert math.isnan(value) and quality == TYPE_MISMATCH


def test_a_bad_quality_stays_and_has_no_value() -> None:
    bad = reading()
    value, quality = bad.take(12.5, NO_COMMUNICATION)
    assert math.isnan(value) and quality == NO_COMMUNICATION and bad.mended == 0


def test_out_of_range_is_uncertain_only_when_it_was_good() -> None:
    assert reading().take(501.0, GOOD) == (501.0, RANGE_EXCEEDED)
    assert reading().take(500.0, GOOD) == (500.0, GOOD)
    assert reading().take(501.0, LAST_USABLE) == (501.0, LAST_USABLE)
    own = Reading(TagMapping("own.thing.pv", "i=1", "bar"), Tag("own.thing.pv", "bar"))
    assert own.take(1e12, GOOD) == (1e12, GOOD)


@given(st.one_of(st.floats(), st.integers(), st.booleans(), st.none(), st.text()), st.integers(0, 2**32 - 1))
def test_never_a_good_nan_and_never_a_number_that_is_bad(raw: object, quality: int) -> None:
    value, kept = reading("MPa").take(raw, quality)
    assert isinstance(value, float)
    assert math.isnan(value) == bool(kept & 0x8000_0000)
    assert not math.isinf(value)


def test_tags_carry_source_unit_and_meaning() -> None:
    source = SourceMapping(
        "plc", "opc.tcp://x", True, (TagMapping(PRESSURE, "i=1", "MPa"), TagMapping("own.a.pv", "i=2", "rpm"))
    )
    pressure, own = tags_of([source])
    assert (pressure.unit, pressure.reference, pressure.source, pressure.simulated) == (
        "bar",
        "gauge",
        "plc",
        True,
    )
    assert (own.unit, own.kind) == ("/min", TagKind.ANALOG)
