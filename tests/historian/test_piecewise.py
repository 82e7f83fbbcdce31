"""Reading piece by piece gives what reading at once gives, a bounded part at a time; neighbours however far."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.aggregates import Aggregate, AggregateConfig, aggregate_series
from historian.frame import NS, Series
from historian.piecewise import piecewise, reaching
from historian.quality import GOOD, NO_DATA, UNCERTAIN

DAY_NS = 86_400 * NS


class Kept:
    """Two tags in memory, and what was asked of them."""

    def __init__(self, *times: Sequence[int]) -> None:
        self.series = {f"t{n}": series_of(t) for n, t in enumerate(times)}
        self.most = 0
        self.asked: list[tuple[int, int]] = []

    @property
    def paths(self) -> list[str]:
        return list(self.series)

    @property
    def span(self) -> tuple[int, int] | None:
        times = np.concatenate([s.time_ns for s in self.series.values()])
        return (int(times.min()), int(times.max())) if len(times) else None

    def read(self, paths: Sequence[str], start_ns: int, end_ns: int, /) -> dict[str, Series]:
        self.asked.append((start_ns, end_ns))
        found = {}
        for path in paths:
            s = self.series[path]
            inside = slice(*np.searchsorted(s.time_ns, [start_ns, end_ns]))
            found[path] = Series(s.time_ns[inside], s.value[inside], s.quality[inside])
        self.most = max(self.most, sum(map(len, found.values())))
        return found


def series_of(times: Sequence[int]) -> Series:
    time_ns = np.array(sorted(times), dtype=np.int64)
    return Series(time_ns, np.arange(len(time_ns), dtype=np.float64), np.zeros(len(time_ns), np.uint32))


def alike(one: Series, other: Series) -> None:
    for name in ("time_ns", "value", "quality"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))


@st.composite
def times(draw: st.DrawFn) -> list[int]:
    """Bursts and silences."""
    found: list[int] = []
    at = 0
    for _ in range(draw(st.integers(0, 5))):
        at += draw(st.sampled_from([NS, 3600 * NS, 40 * DAY_NS]))
        n, every_ns = draw(st.integers(1, 60)), draw(st.sampled_from([1, NS // 10, 7 * NS, 3600 * NS]))
        found += [at + k * every_ns for k in range(n)]
        at += n * every_ns
    return found


@settings(max_examples=200, deadline=None)
@given(times(), times(), st.integers(1, 100), st.integers(-NS, 60 * DAY_NS), st.integers(0, 90 * DAY_NS))
def test_the_pieces_one_after_the_other_are_the_whole(
    one: list[int], other: list[int], samples: int, start_ns: int, length_ns: int
) -> None:
    kept = Kept(one, other)
    end_ns = start_ns + length_ns
    pieces = list(piecewise(kept.read, kept.paths, start_ns, end_ns, span=kept.span, samples=samples))
    whole = Kept(one, other).read(kept.paths, start_ns, end_ns)
    for path in kept.paths:
        parts = [p[path] for p in pieces] or [Series.empty()]
        for name in ("time_ns", "value", "quality"):
            joined = np.concatenate([getattr(p, name) for p in parts])
            np.testing.assert_array_equal(joined, getattr(whole[path], name))
    assert all(any(len(s) for s in p.values()) for p in pieces), "none is empty"
    low, high = kept.span or (0, 0)
    assert all(low <= a < b <= high + 1 for a, b in kept.asked), "nothing is asked where nothing is"


def test_a_steady_line_is_read_about_so_many_samples_at_once() -> None:
    """Ten minutes at first, then as many as asked for, never twice as many again."""
    kept = Kept(range(0, 3 * DAY_NS, 10 * NS), range(0, 3 * DAY_NS, 10 * NS))
    sizes = [
        sum(map(len, piece.values()))
        for piece in piecewise(kept.read, kept.paths, 0, 3 * DAY_NS, span=kept.span, samples=1000)
    ]
    assert sum(sizes) == 2 * 25_920
    assert max(sizes) <= 1000 and len(sizes) < 60


def test_what_comes_thick_after_a_silence_does_not_come_all_at_once() -> None:
    """Half an hour at most is asked for at the end of a silence, whatever comes then."""
    dense = range(30 * DAY_NS, 30 * DAY_NS + 7200 * NS, NS)
    kept = Kept([0, *dense])
    for _ in piecewise(kept.read, kept.paths, 0, 31 * DAY_NS, span=kept.span, samples=100):
        pass
    assert kept.most <= 1801
    assert len(kept.asked) < 1800, "and the silence is not asked minute by minute"


def test_an_empty_store_or_window_gives_nothing() -> None:
    assert list(piecewise(Kept([]).read, ["t0"], 0, DAY_NS, span=None, samples=10)) == []
    kept = Kept([5 * DAY_NS])
    assert list(piecewise(kept.read, ["t0"], 0, DAY_NS, span=kept.span, samples=10)) == []
    assert reaching(kept.read, "t0", DAY_NS, DAY_NS, span=None).time_ns.tolist() == []


@settings(max_examples=200, deadline=None)
@given(times(), times(), st.integers(-NS, 60 * DAY_NS), st.integers(0, 90 * DAY_NS))
def test_a_neighbour_is_found_on_either_side_however_far(
    one: list[int], other: list[int], start_ns: int, length_ns: int
) -> None:
    kept = Kept(one, other)
    end_ns = start_ns + length_ns
    found = reaching(kept.read, "t0", start_ns, end_ns, span=kept.span)
    whole = kept.series["t0"]
    before, after = whole.time_ns[whole.time_ns < start_ns], whole.time_ns[whole.time_ns >= end_ns]
    inside = slice(*np.searchsorted(found.time_ns, [start_ns, end_ns]))
    plain = slice(*np.searchsorted(whole.time_ns, [start_ns, end_ns]))
    alike(
        Series(found.time_ns[inside], found.value[inside], found.quality[inside]),
        Series(whole.time_ns[plain], whole.value[plain], whole.quality[plain]),
    )
    assert found.time_ns[: inside.start][-1:].tolist() == before[-1:].tolist()
    assert found.time_ns[inside.stop :][:1].tolist() == after[:1].tolist()
    assert np.all(np.diff(found.time_ns) >= 0)


class Graded(Kept):
    """One tag in memory whose samples have qualities."""

    def __init__(self, series: Series) -> None:
        super().__init__([])
        self.series = {"t0": series}


@settings(max_examples=150, deadline=None)
@given(
    times(),
    st.integers(0, 1000),
    st.integers(-NS, 60 * DAY_NS),
    st.sampled_from([NS, 3600 * NS, 9 * DAY_NS]),
    st.booleans(),
    st.booleans(),
    st.booleans(),
)
def test_an_aggregate_of_what_is_reached_is_that_of_everything(
    at: list[int], seed: int, start_ns: int, length_ns: int, sloped: bool, strict: bool, stepped: bool
) -> None:
    """Bounding values, the line drawn on behind the last sample, samples that are good and hold no number."""
    time_ns = np.unique(np.array(at, dtype=np.int64))
    chance = np.random.default_rng(seed)
    quality = chance.choice([GOOD, GOOD, UNCERTAIN, NO_DATA], len(time_ns)).astype(np.uint32)
    empty = (quality == NO_DATA) | (chance.random(len(time_ns)) < 0.2)
    kept = Graded(Series(time_ns, np.where(empty, np.nan, chance.normal(size=len(time_ns))), quality))
    config = AggregateConfig(treat_uncertain_as_bad=strict, use_sloped_extrapolation=sloped)
    end_ns = start_ns + length_ns
    asked = (start_ns, end_ns, max(1, length_ns // 3))
    reached = reaching(kept.read, "t0", start_ns, end_ns, span=kept.span, before=2 if sloped else 1)
    for kind in (Aggregate.INTERPOLATIVE, Aggregate.TIME_AVERAGE, Aggregate.TOTAL_2, Aggregate.START_BOUND):
        one, other = (
            aggregate_series(s, *asked, kind, config=config, stepped=stepped)
            for s in (reached, kept.series["t0"])
        )
        assert [(r.time_ns, r.quality) for r in one] == [(r.time_ns, r.quality) for r in other]
        np.testing.assert_allclose([r.value for r in one], [r.value for r in other], rtol=1e-9, atol=1e-9)


def test_a_line_to_be_drawn_on_has_both_of_its_samples() -> None:
    """The last is near, the one before it half a day away."""
    kept = Kept([0, DAY_NS // 2])
    near = (DAY_NS // 2 + 60 * NS, DAY_NS // 2 + 120 * NS)
    assert reaching(kept.read, "t0", *near, span=kept.span).value.tolist() == [1.0]
    both = reaching(kept.read, "t0", *near, span=kept.span, before=2)
    assert both.value.tolist() == [0.0, 1.0]
    config = AggregateConfig(use_sloped_extrapolation=True)
    (row,) = aggregate_series(both, *near, 60 * NS, Aggregate.INTERPOLATIVE, config=config)
    assert row.value == 1.0 + 60 / 43_200
