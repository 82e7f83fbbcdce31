"""Oracle: on random series every aggregate is what a slow word-for-word reading of the standard gives."""

from __future__ import annotations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from historian.aggregates import Aggregate, AggregateConfig, aggregate_series
from historian.frame import NS
from tests.historian.aggregates.series import BAD, GOOD, Sample, configs, samples, series_of
from tests.historian.aggregates.slow import Reader

STANDARD = AggregateConfig()


@pytest.mark.parametrize("kind", list(Aggregate))
@settings(max_examples=60, deadline=None)
@given(
    rows=samples,
    config=configs,
    stepped=st.booleans(),
    interval=st.sampled_from([3, 7, 10, 33, 100, 250]),
    notes=st.lists(st.integers(-20, 120), max_size=5),
)
@example(rows=[], config=STANDARD, stepped=False, interval=10, notes=[3])
@example(rows=[(0, 5.0, GOOD)], config=STANDARD, stepped=True, interval=100, notes=[])
@example(rows=[(0, 5.0, BAD), (3 * NS, 1.0, GOOD)], config=STANDARD, stepped=False, interval=10, notes=[])
def test_the_same_as_the_slow_reading(
    kind: Aggregate,
    rows: list[Sample],
    config: AggregateConfig,
    stepped: bool,
    interval: int,
    notes: list[int],
) -> None:
    marks = [note * NS for note in notes]
    theirs = Reader(rows, config, stepped, tuple(marks)).answers(0, 100 * NS, interval * NS, kind)
    ours = aggregate_series(
        series_of(rows),
        0,
        100 * NS,
        interval * NS,
        kind,
        config=config,
        stepped=stepped,
        annotations_ns=marks,
    )
    assert [r.time_ns for r in ours] == [t for t, _, _ in theirs]
    assert [hex(r.quality) for r in ours] == [hex(q) for _, _, q in theirs]
    assert [r.value for r in ours] == pytest.approx(
        [v for _, v, _ in theirs], rel=1e-9, abs=1e-7, nan_ok=True
    )
