"""Samples that come late are noticed once they have all come."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboard.filled_in import FilledIn
from historian.embedded.store import EmbeddedStore
from historian.frame import NS, Frame
from historian.tags import Tag


@pytest.fixture
def store(tmp_path: Path) -> Iterator[EmbeddedStore]:
    made = EmbeddedStore.open(tmp_path)
    made.register([Tag("filter.dp.calc", "bar")])
    yield made
    made.close()


def frame(second: int, arrival_s: int) -> Frame:
    return Frame.of([1], [second * NS], [1.0], [0], arrival_ns=arrival_s * NS)


def test_ordinary_samples_are_not_filled_in(store: EmbeddedStore) -> None:
    watch = FilledIn()
    for second in range(10_000, 10_020):
        store.append(frame(second, second))
        assert not watch.settled(store, second * NS)


def test_filling_in_is_told_once_when_it_is_over(store: EmbeddedStore) -> None:
    watch = FilledIn()
    store.append(frame(10_000, 10_000))
    watch.settled(store, 10_000 * NS)
    told = []
    for second in range(10_001, 10_020):
        store.append(frame(second, second))
        if second < 10_006:
            store.append(frame(second - 9000, second))
        told.append(watch.settled(store, second * NS))
    assert told.count(True) == 1
    assert told.index(True) == 7, "three seconds after the last old sample"
