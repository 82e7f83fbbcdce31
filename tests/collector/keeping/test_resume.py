"""A new run goes on from what the store holds."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector import SourceMapping, TagMapping, newest_epochs, newest_samples, tags_of
from historian import EmbeddedStore, Frame

SOURCES = [
    SourceMapping("a", "opc.tcp://x", False, (TagMapping("own.a.pv", "i=1", "1"),)),
    SourceMapping("b", "opc.tcp://y", False, (TagMapping("own.b.pv", "i=1", "1"),)),
]


@pytest.mark.parametrize("look_back", [(1, 2), (2_000, 100_000)])
def test_newest_samples_and_epochs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, look_back: tuple[int]
) -> None:
    monkeypatch.setattr("collector.keeping.resume._LOOK_BACK", look_back)
    store = EmbeddedStore.open(tmp_path)
    assert newest_samples(store, SOURCES) == {} and newest_epochs(store, SOURCES, 0) == {}
    tags = store.register(tags_of(SOURCES))
    a, b = tags["own.a.pv"].id, tags["own.b.pv"].id
    store.append(Frame.of([b], [5], [2.0], [0], arrival_ns=5, clock_epoch=3))
    for k in range(10, 20):
        last = store.append(Frame.of([a], [k], [1.0], [0], arrival_ns=k, clock_epoch=1))
    assert {p: s.time_ns for p, s in newest_samples(store, SOURCES).items()} == {
        "own.a.pv": 19,
        "own.b.pv": 5,
    }
    assert newest_epochs(store, SOURCES, last) == {"a": 1, "b": 3}
    store.close()
