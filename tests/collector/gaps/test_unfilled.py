"""Gaps that an earlier run saw end and did not live to fill are found again by their marks."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from collector import Inbox, SourceMapping, TagMapping, newest_samples, tags_of, unfilled_gaps
from collector.gaps.marks import MARK_AFTER_NS, Gap
from collector.gaps.unfilled import LOOK_BACK_NS
from historian import EmbeddedStore, Frame
from historian.frame import NS
from historian.quality import NO_DATA

T0 = 1_800_000_000 * NS
SOURCES = [
    SourceMapping("server", "opc.tcp://x", False, (TagMapping("own.a.pv", "i=1", "1"),)),
    SourceMapping("broker", "mqtt://y", False, (TagMapping("own.b.pv", "b", "1"),)),
]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[EmbeddedStore]:
    with closing(EmbeddedStore.open(tmp_path)) as made:
        made.register(tags_of(SOURCES))
        yield made


def keep(store: EmbeddedStore, path: str, *samples: tuple[float, float, int]) -> None:
    tag = store.tags()[path].id
    for at_s, value, quality in samples:
        time_ns = T0 + round(at_s * NS)
        store.append(Frame.of([tag], [time_ns], [value], [quality], arrival_ns=time_ns))


def found(store: EmbeddedStore) -> dict[str, list[Gap]]:
    return unfilled_gaps(store, SOURCES, newest_samples(store, SOURCES))


MARK = 10 + MARK_AFTER_NS / NS


def test_a_gap_that_ended_is_found_with_what_stood_before_it(store: EmbeddedStore) -> None:
    for path in ("own.a.pv", "own.b.pv"):
        keep(store, path, (10, 7.0, 0), (MARK, math.nan, NO_DATA), (40, 9.0, 0), (41, 9.5, 0))
    tag = store.tags()["own.a.pv"].id
    at = T0 + 10 * NS
    assert found(store) == {
        "server": [Gap(tag, at, 7.0, 0, at + MARK_AFTER_NS, T0 + 40 * NS)]  # a broker remembers nothing
    }
    inbox = Inbox(SOURCES, store.tags(), newest_samples(store, SOURCES), unfilled=found(store))
    assert inbox.ended_gaps("server") == found(store)["server"]
    assert inbox.ended_gaps("server") == []


def test_a_gap_that_has_not_ended_or_was_filled_is_none(store: EmbeddedStore) -> None:
    keep(store, "own.a.pv", (10, 7.0, 0), (20, 8.0, 0), (20.001, math.nan, NO_DATA))
    assert found(store) == {}


def test_a_long_gap_that_ended_just_now_is_found_by_the_mark_at_its_begin(store: EmbeddedStore) -> None:
    long_s = 3 * LOOK_BACK_NS / NS
    keep(store, "own.a.pv", (10, 7.0, 0), (MARK, math.nan, NO_DATA), (10 + long_s, 9.0, 0))
    (gap,) = found(store)["server"]
    assert (gap.since_ns, gap.value, gap.until_ns) == (T0 + 10 * NS, 7.0, T0 + round((10 + long_s) * NS))


def test_one_that_ended_long_ago_was_answered_for(store: EmbeddedStore) -> None:
    later_s = 50 + LOOK_BACK_NS / NS
    keep(store, "own.a.pv", (10, 7.0, 0), (MARK, math.nan, NO_DATA), (40, 9.0, 0), (later_s, 9.5, 0))
    assert found(store) == {}


def test_of_a_mark_without_anything_before_it_the_value_is_not_known(store: EmbeddedStore) -> None:
    keep(store, "own.a.pv", (MARK, math.nan, NO_DATA), (40, 9.0, 0))
    (gap,) = found(store)["server"]
    assert gap.quality == NO_DATA and math.isnan(gap.value) and gap.since_ns < gap.mark_ns
