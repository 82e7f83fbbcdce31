"""Spells against a count of seconds, one by one."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from rules.review.spells import Spell, Window, total_s, union, within, without

NOW = 60
some = st.lists(
    st.tuples(st.integers(0, NOW), st.one_of(st.none(), st.integers(0, NOW))).filter(
        lambda p: p[1] is None or p[0] <= p[1]
    ),
    max_size=6,
).map(lambda pairs: [Spell(a, b) for a, b in pairs])


def covered(spells: list[Spell]) -> set[int]:
    return {t for s in spells for t in range(s.start_ns, s.until(NOW))}


@given(some, some)
def test_union_and_difference(a: list[Spell], b: list[Spell]) -> None:
    assert covered(union(a, NOW)) == covered(a)
    assert covered(without(a, b, NOW)) == covered(a) - covered(b)
    joined = union(a, NOW)
    assert all(x.until(NOW) < y.start_ns for x, y in pairwise(joined))


@given(some, st.integers(0, NOW), st.integers(0, NOW))
def test_within_a_window(a: list[Spell], one: int, other: int) -> None:
    window = Window(min(one, other), max(one, other))
    assert covered(within(a, window)) == covered(
        [Spell(s.start_ns, s.until(window.end_ns)) for s in a]
    ) & set(range(window.start_ns, window.end_ns))
    assert total_s(a, window) * 1e9 <= len(a) * (window.end_ns - window.start_ns) + 1e-6
