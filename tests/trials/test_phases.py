"""Phases that count: as found until somebody cuts them; then nothing cuts them again by itself."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.errors import WrongInput
from process.phase_names import DWELL_S
from process.phases import Phase
from trials.forms.forms import Phases, filled_in
from trials.phases import KeptPhase, as_form, found_otherwise, phases_that_count, with_phase
from trials.record.book import Book, book_of
from trials.record.entries import Entry, What

S = 1_000_000_000
FOUND = [Phase("ramp", 0, 600 * S, "up", 0.9), Phase("steady", 600 * S, 3600 * S, "ten minutes", 0.97)]


def book(kept: list[KeptPhase]) -> Book:
    return book_of([Entry(1, 1, What.PHASES, 0, 0, "ada", as_form(kept, "late sample"))])


def told(kept: list[KeptPhase]) -> list[tuple[str, int, int, bool]]:
    return [(k.phase.name, k.phase.start_ns // S, k.phase.end_ns // S, k.by_hand) for k in kept]


def test_without_a_cut_they_are_as_found() -> None:
    kept = phases_that_count(FOUND, book_of([]))
    assert [k.phase for k in kept] == FOUND and not any(k.by_hand for k in kept)


def test_after_a_cut_what_is_found_anew_changes_nothing_but_is_told() -> None:
    cut = with_phase(phases_that_count(FOUND, book_of([])), "running", 600 * S, 900 * S, "bale was torn")
    anew = [Phase("ramp", 0, 500 * S, "up"), Phase("running", 500 * S, 2000 * S, "?"), FOUND[1]]
    kept = phases_that_count(anew, book(cut))
    assert told(kept) == told(cut)
    assert kept[0].phase.confidence == 0.9
    assert found_otherwise(kept, FOUND) == []
    late = Phase("steady", 1500 * S, 1800 * S, "?")
    assert found_otherwise(kept, [late]) == [late]


def test_a_trial_that_goes_on_after_the_cut_has_what_is_found_later() -> None:
    cut = with_phase(phases_that_count(FOUND, book_of([])), "running", 600 * S, 900 * S, "bale was torn")
    on = [FOUND[0], Phase("steady", 600 * S, 5000 * S, ""), Phase("shutdown", 5000 * S, 5100 * S, "")]
    assert told(phases_that_count(on, book(cut)))[-2:] == [
        ("steady", 3600, 5000, False),
        ("shutdown", 5000, 5100, False),
    ]


@pytest.mark.parametrize(
    ("name", "start", "end", "why"),
    [
        ("coffee", 0, 10, "no phase 'coffee'"),
        ("steady", 10, 10, "must lie within"),
        ("steady", 20, 10, "must lie within"),
        ("steady", 0, 9999, "must lie within"),
        ("steady", -1, 10, "must lie within"),
    ],
)
def test_a_cut_that_cannot_be_is_refused(name: str, start: int, end: int, why: str) -> None:
    with pytest.raises(WrongInput, match=why):
        with_phase([KeptPhase(p) for p in FOUND], name, start * S, end * S, "")


@given(
    cuts=st.lists(
        st.tuples(st.sampled_from(sorted(DWELL_S)), st.integers(0, 3600), st.integers(0, 3600)), max_size=8
    )
)
def test_whatever_is_cut_there_are_no_holes_and_the_record_takes_it(
    cuts: list[tuple[str, int, int]],
) -> None:
    kept = [KeptPhase(p) for p in FOUND]
    for name, one, other in cuts:
        if one == other:
            continue
        kept = with_phase(kept, name, min(one, other) * S, max(one, other) * S, "by hand")
        at = min(one, other) * S
        assert next(k for k in kept if k.phase.start_ns <= at < k.phase.end_ns).phase.name == name
    assert (kept[0].phase.start_ns, kept[-1].phase.end_ns) == (0, 3600 * S)
    assert all(a.phase.end_ns == b.phase.start_ns for a, b in pairwise(kept))
    filled_in(Phases, as_form(kept, "by hand"))
    assert told(phases_that_count([], book(kept))) == told(kept)


def test_a_list_with_a_hole_is_no_list_of_phases() -> None:
    rows = as_form([KeptPhase(FOUND[0]), KeptPhase(Phase("steady", 700 * S, 800 * S, ""))], "x")
    with pytest.raises(WrongInput, match="begins where the one before it ends"):
        filled_in(Phases, rows)
