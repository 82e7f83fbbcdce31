"""What delays would have made of spells: by hand, second by second, and what must always hold."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from rules.review import Spell
from rules.review.delays import Delays, Raised, backtest, delayed
from tests.rules.review.told import MIDNIGHT, at, spells

NOW = at(100_000)

lengths = st.lists(st.tuples(st.integers(1, 90), st.integers(1, 90)), max_size=25)
seconds = st.integers(0, 120)


def made(pairs: list[tuple[int, int]]) -> list[Spell]:
    """Spells from lengths of gaps and of spells, seconds."""
    some, t = [], 0
    for gap, length in pairs:
        some.append((t + gap, t + gap + length))
        t += gap + length
    return spells(*some)


def by_the_second(some: list[Spell], delays: Delays) -> list[int]:
    """When alarms are raised by an alarm that looks once a second; spells and delays are whole seconds."""
    inside = {
        t for s in some for t in range((s.start_ns - MIDNIGHT) // 10**9, (s.until(NOW) - MIDNIGHT) // 10**9)
    }
    raised, stands, held, gone = [], False, 0, 0
    for t in range(max(inside, default=0) + 200):
        held, gone = (held + 1, 0) if t in inside else (0, gone + 1)
        if not stands and held and held >= delays.on_s:
            stands = True
            raised.append(t - held + 1)
        elif stands and gone and gone >= delays.off_s:
            stands = False
    return raised


@given(lengths, seconds, seconds)
def test_against_an_alarm_that_looks_every_second(
    pairs: list[tuple[int, int]], on_s: int, off_s: int
) -> None:
    some, delays = made(pairs), Delays(on_s, off_s)
    starts = [(r.at_ns - at(on_s)) // 10**9 for r in delayed(some, delays)]
    assert starts == by_the_second(some, delays)


@given(lengths)
def test_no_delay_changes_nothing(pairs: list[tuple[int, int]]) -> None:
    some = made(pairs)
    assert [(r.at_ns, r.end_ns) for r in delayed(some, Delays())] == [(s.start_ns, s.end_ns) for s in some]
    test = backtest(some, Delays(), NOW)
    assert test.before == test.after == len(some)
    assert test.chattering_before == test.chattering_after
    assert test.untold == 0


@given(lengths, seconds, seconds, seconds, seconds)
def test_a_longer_delay_never_adds_alarms(
    pairs: list[tuple[int, int]], on_s: int, more_on: int, off_s: int, more_off: int
) -> None:
    some = made(pairs)
    few = len(delayed(some, Delays(on_s + more_on, off_s + more_off)))
    assert few <= len(delayed(some, Delays(on_s, off_s))) <= len(some)


@given(lengths, seconds, seconds)
def test_alarms_lie_apart_and_none_comes_before_its_disturbance(
    pairs: list[tuple[int, int]], on_s: int, off_s: int
) -> None:
    remain = delayed(made(pairs), Delays(on_s, off_s))
    assert all(r.at_ns - r.begun_ns >= at(on_s) - MIDNIGHT for r in remain)
    assert all(a.end_ns is not None and a.end_ns <= b.at_ns for a, b in pairwise(remain))


@given(lengths, seconds)
def test_an_off_delay_alone_keeps_every_disturbance_and_makes_none_late(
    pairs: list[tuple[int, int]], off_s: int
) -> None:
    test = backtest(made(pairs), Delays(off_s=off_s), NOW)
    assert test.untold == 0
    assert test.after == 0 or test.later_median_s is not None


def test_the_edges_of_a_delay() -> None:
    """OPC 10000-9, B.1.5: held for the whole delay; a dip as long as the off-delay ends the alarm."""
    assert len(delayed(spells((0, 10)), Delays(on_s=10))) == 1
    assert delayed(spells((0, 9)), Delays(on_s=10)) == []
    assert len(delayed(spells((0, 10), (15, 20)), Delays(off_s=5))) == 2
    assert delayed(spells((0, 10), (14, 20)), Delays(off_s=5)) == [Raised(at(0), at(25), at(0))]


def test_how_late_counts_from_the_beginning_of_the_disturbance() -> None:
    some = spells((0, 4), (10, 50), (500, 520), (900, 903))
    test = backtest(some, Delays(on_s=10), NOW)
    assert (test.before, test.after) == (4, 2)
    assert test.later_most_s == 20 and test.later_median_s == 15
    assert (test.untold, test.longest_untold_s) == (1, 3)
    assert test.saved_share == 0.5


def test_a_spell_that_goes_on_is_told() -> None:
    (one,) = delayed(spells((0, None)), Delays(on_s=30, off_s=30))
    assert (one.at_ns, one.end_ns) == (at(30), None)
