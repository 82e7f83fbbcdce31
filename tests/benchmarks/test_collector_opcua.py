"""A figure of the OPC UA benchmark cannot come from a run in which values were missing."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest

from benchmarks.collector_opcua import Load, _check
from historian import EmbeddedStore, Frame, Tag

LOAD = Load(nodes=1, hz=2.0, seconds=2.0, rounds=1)


@pytest.mark.parametrize(
    ("counted", "whole"),
    [([0, 3, 4, 5, 6], True), ([0, 3, 4, 6, 7, 8], False), ([3, 4, 5], False), ([], False)],
)
def test_a_counter_that_is_not_whole_is_no_figure(tmp_path: Path, counted: list[int], whole: bool) -> None:
    with closing(EmbeddedStore.open(tmp_path)) as store:
        tag = store.register([Tag("own.n0.pv", "1")])["own.n0.pv"].id
        n = len(counted)
        if n:
            store.append(Frame.of([tag] * n, range(n), counted, [0] * n, arrival_ns=1))
        if whole:
            _check(store, ["own.n0.pv"], LOAD)
        else:
            with pytest.raises(RuntimeError, match=r"own\.n0\.pv"):
                _check(store, ["own.n0.pv"], LOAD)
