"""What messages said becomes columns: in the tags' units, with their qualities, each tag in its order."""

from __future__ import annotations

from array import array
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.columns import Columns
from collector.complaints import Complaints
from collector.json.columns import Block, ColumnMaker
from collector.json.reader import COMPLAINTS
from collector.reading.deadband import Deadband
from collector.reading.mapping import TYPE_MISMATCH, TagMapping
from collector.reading.readings import Readings
from historian.catalogue import canonical_tag
from historian.quality import BAD, SENSOR_FAILURE
from historian.tags import Tag

PATHS = ("filter.inlet.pressure.pv", "die.pressure.pv", "own.c.pv", "own.d.pv")
UNITS = ("MPa", "bar", "1", "1")


def tag(path: str, number: int) -> Tag:
    known = canonical_tag(path, unit="1") if path.startswith("own") else canonical_tag(path)
    return replace(known, id=number)


TAGS = {path: tag(path, number) for path, number in zip(PATHS, (9, 3, 7, 5), strict=True)}


def maker(*bands: Deadband | None) -> ColumnMaker:
    mappings = [TagMapping(path, path, unit) for path, unit in zip(PATHS, UNITS, strict=True)]
    return ColumnMaker(
        Readings.of(mappings, TAGS), bands or [None] * len(PATHS), Complaints("plc", COMPLAINTS)
    )


def batch(layout: np.ndarray, time_ns: int, *values: float, topic: str = "p") -> Block:  # type: ignore[type-arg]
    return Block(layout, array("d", values), time_ns, topic=topic)


def rows(columns: Columns) -> list[tuple[int, int, float, int]]:
    return [(t, ns, v, q) for t, ns, v, q, _ in columns.rows()]


def test_units_are_converted_and_bad_values_marked() -> None:
    block = Block([0, 1, 2, 0], [12.5, None, "open", 1.0], [1, 2, 3, 4], [0, 0, 0, BAD])
    found = rows(maker().columns([block]))
    assert found[0] == (9, 1, 125.0, 0)
    assert [(t, ns, q) for t, ns, _, q in found[1:]] == [(3, 2, SENSOR_FAILURE), (7, 3, TYPE_MISMATCH), (9, 4, BAD)]  # fmt: skip
    assert all(np.isnan(v) for _, _, v, _ in found[1:])


def test_nothing_gives_nothing() -> None:
    assert len(maker().columns([])) == 0


VALUES = st.one_of(st.floats(-1.0, 1.0), st.floats(-1e4, 1e4), st.just(float("nan")))


@settings(max_examples=60, deadline=None)
@given(
    layout=st.lists(st.integers(0, 3), min_size=4, max_size=4),
    sent=st.lists(st.tuples(st.integers(1, 10**15), st.lists(VALUES, min_size=4, max_size=4)), min_size=1, max_size=5),
)  # fmt: skip
def test_batches_of_one_layout_give_what_single_samples_give(
    layout: list[int], sent: list[tuple[int, list[float]]]
) -> None:
    at = np.array(layout, np.intp)
    together = maker().columns([batch(at, ns, *values) for ns, values in sent])
    singly = maker().columns(
        [Block(layout, array("d", values), [ns] * 4, [0] * 4) for ns, values in sent]  # looked up one by one
    )
    assert list(map(str, rows(together))) == list(map(str, rows(singly)))
    assert together.quality.shape == (4 * len(sent),)


def test_batches_of_one_layout_are_scans_that_sort_without_comparing() -> None:
    at = np.array([0, 2, 1], np.intp)
    found = maker().columns([batch(at, ns, 1.0, 2.0, 3.0) for ns in (5, 6, 9)])
    assert found.tag.tolist() == [9, 7, 3] * 3
    scan = Columns.joined([found, found])._scan()
    assert scan is not None and scan.tolist() == [9, 7, 3]


def test_a_tag_twice_in_a_batch_stays_in_the_order_in_which_it_came() -> None:
    at = np.array([2, 2], np.intp)
    found = maker().columns([batch(at, 1, 1.0, 2.0), batch(at, 5, 3.0, 4.0)])
    assert [(ns, v) for _, ns, v, _ in rows(found)] == [(1, 1.0), (1, 2.0), (5, 3.0), (5, 4.0)]


def test_a_dead_band_lets_the_larger_changes_through() -> None:
    bands = (None, None, Deadband(0.5), None)
    at = np.array([2, 3], np.intp)
    found = maker(*bands).columns([batch(at, n, value, value) for n, value in ((1, 1.0), (2, 1.2), (3, 2.0))])
    assert [v for t, _, v, _ in rows(found) if t == 7] == [1.0, 2.0]
    assert [v for t, _, v, _ in rows(found) if t == 5] == [1.0, 1.2, 2.0]


@pytest.mark.parametrize(("value", "told"), [(2.0**53, 0), (2.0**53 + 2, 1), (-(2.0**60), 1)])
def test_numbers_too_large_to_be_exact_are_told_and_kept(value: float, told: int) -> None:
    one = maker()
    found = one.columns([batch(np.array([2, 3], np.intp), 1, value, 0.0)])
    assert rows(found)[0][2] == value
    assert one._complaints._counts.get("exact", 0) == told
