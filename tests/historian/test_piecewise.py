"""Reading piece by piece gives what reading at once gives, a bounded part at a time; neighbours however far."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.frame import NS, Series
from historian.piecewise import piecewise, reaching

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
