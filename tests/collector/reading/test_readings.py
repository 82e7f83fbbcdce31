"""Columns give what single samples give, for every tag, number and quality."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.reading.channel import Channel
from collector.reading.mapping import TYPE_MISMATCH, Reading, TagMapping
from collector.reading.readings import Readings
from historian.quality import (
    GOOD,
    LAST_USABLE,
    NO_COMMUNICATION,
    RANGE_EXCEEDED,
    SENSOR_FAILURE,
    SENSOR_NOT_ACCURATE,
)
from historian.tags import Tag

MAPPINGS = (
    TagMapping("filter.inlet.pressure.pv", "P1", "MPa"),
    TagMapping("extruder.melt.temp.pv", "T1", "[degF]"),
    TagMapping("own.thing.pv", "i=1", "1"),
    TagMapping("filter.outlet.pressure.pv", "P2", "mA", channel=Channel("4-20 mA", 0, 250, "bar")),
    TagMapping("die.pressure.pv", "P3", "1", channel=Channel("4-20 mA", 5000, 0, "[psi]", (0, 27648))),
    TagMapping("water.pressure.pv", "P4", "V", channel=Channel("0-10 V", 0, 1, "MPa")),
    TagMapping("water.tank.level.pv", "L1", "%", channel=Channel("0-20 mA", 0, 100, "%")),
)


def tags() -> dict[str, Tag]:
    from historian.catalogue import canonical_tag

    made = (canonical_tag(m.path) for m in MAPPINGS)
    return {t.path: Tag(t.path, t.unit, t.kind, id=n) for n, t in enumerate(made, start=7)}


TAGS = tags()
QUALITIES = (GOOD, 0x480, LAST_USABLE, RANGE_EXCEEDED, NO_COMMUNICATION, SENSOR_FAILURE, 0xC000_0000)
NUMBERS = st.one_of(
    st.floats(),
    st.floats(-2.0, 25.0),
    st.integers(-(2**70), 2**70),
    st.integers(-3000, 31000),
    st.sampled_from([3.6, 3.8, 4, 20, 20.5, 21, 0.1, 10.5, -2.5, 10**400, -(10**400), True, 1e308]),
)
RAW = st.one_of(NUMBERS, st.none(), st.text(max_size=3), st.lists(st.integers(), max_size=2))
SAMPLES = st.lists(st.tuples(st.integers(0, len(MAPPINGS) - 1), RAW, st.sampled_from(QUALITIES)), max_size=30)


def singly(samples: Sequence[tuple[int, object, int]]) -> tuple[list[tuple[float, int]], list[int]]:
    readings = [Reading(m, TAGS[m.path]) for m in MAPPINGS]
    return [readings[at].take(raw, quality) for at, raw, quality in samples], [r.mended for r in readings]


def same(value: np.ndarray, quality: np.ndarray, expected: Sequence[tuple[float, int]]) -> bool:
    values = np.array([v for v, _ in expected], np.float64)
    return np.array_equal(value, values, equal_nan=True) and quality.tolist() == [q for _, q in expected]


@given(SAMPLES)
def test_columns_of_many_tags_equal_single_samples(samples: list[tuple[int, object, int]]) -> None:
    at = np.array([s[0] for s in samples], np.intp)
    given_quality = np.array([s[2] for s in samples], np.uint32)
    readings = Readings.of(MAPPINGS, TAGS)
    value, quality = readings.take_mixed(at, [s[1] for s in samples], given_quality)
    expected, mended = singly(samples)
    assert same(value, quality, expected)
    assert readings.mended.tolist() == mended
    assert value.dtype == np.float64 and quality.dtype == np.uint32


@given(st.integers(0, len(MAPPINGS) - 1), st.lists(st.floats(), max_size=20), st.sampled_from(QUALITIES))
def test_a_column_of_one_tag_equals_single_samples(place: int, raw: list[float], quality: int) -> None:
    readings = Readings.of(MAPPINGS, TAGS)
    qualities = np.full(len(raw), quality, np.uint32)
    taken = readings.take_columns(place, np.array(raw, np.float64), qualities)
    expected, mended = singly([(place, r, quality) for r in raw])
    assert same(*taken, expected)
    assert readings.mended.tolist() == mended


def test_what_came_is_never_altered() -> None:
    raw, quality = np.array([math.inf, 3.0]), np.array([GOOD, NO_COMMUNICATION], np.uint32)
    raw.flags.writeable = quality.flags.writeable = False
    value, changed = Readings.of(MAPPINGS, TAGS).take_columns(3, raw, quality)
    assert np.isnan(value).all() and changed.tolist() == [SENSOR_FAILURE, NO_COMMUNICATION]


def test_each_tag_keeps_its_own_limits_in_one_batch() -> None:
    at = np.array([0, 3, 3, 3, 5])
    raw = np.array([90.0, 3.6, 3.7, 12.0, 0.0])
    value, quality = Readings.of(MAPPINGS, TAGS).take_columns(at, raw, np.zeros(5, np.uint32))
    assert value.tolist() == pytest.approx([900.0, math.nan, -4.6875, 125.0, 0.0], nan_ok=True)
    assert quality.tolist() == [
        RANGE_EXCEEDED, SENSOR_FAILURE, SENSOR_NOT_ACCURATE, GOOD, SENSOR_NOT_ACCURATE
    ]  # fmt: skip


def test_a_text_is_counted_and_told_apart_from_nothing() -> None:
    readings = Readings.of(MAPPINGS, TAGS)
    quality = np.array([GOOD, GOOD, NO_COMMUNICATION, GOOD], np.uint32)
    value, told = readings.take_mixed(2, ["12.5", None, "x", 4], quality)
    assert told.tolist() == [TYPE_MISMATCH, SENSOR_FAILURE, NO_COMMUNICATION, GOOD]
    assert np.isnan(value[:3]).all() and value[3] == 4.0
    assert readings.mended.tolist() == [0, 0, 2, 0, 0, 0, 0]


def test_places_name_the_stores_numbers() -> None:
    assert Readings.of(MAPPINGS, TAGS).tag_id[np.array([2, 0])].tolist() == [9, 7]
