"""What goes with a trial, when it may, and what proves it."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.errors import WrongInput
from trials.customers.forgetting import Proof, check_may_go, photos_of, windows_of
from trials.record import Entry, Trial, What


def trial(start_ns: int, end_ns: int | None) -> Trial:
    return Trial(1, "day", "", "heron", start_ns, end_ns)


@given(
    st.tuples(st.integers(0, 20), st.integers(1, 20)),
    st.lists(st.tuples(st.integers(0, 40), st.integers(1, 20) | st.none()), max_size=4),
)
def test_what_another_trial_needs_is_not_deleted(
    own: tuple[int, int], others: list[tuple[int, int | None]]
) -> None:
    mine = trial(own[0], own[0] + own[1])
    kept = [trial(a, None if n is None else a + n) for a, n in others]
    gone = {t for a, b in windows_of(mine, kept) for t in range(a, b)}
    held = {t for k in kept for t in range(k.start_ns, 100 if k.end_ns is None else k.end_ns)}
    assert gone == set(range(own[0], own[0] + own[1])) - held


def test_a_photograph_that_another_trial_names_stays() -> None:
    def photo(id: int, sha256: str) -> Entry:
        return Entry(id, 1, What.PHOTO, 0, 0, "ada", {"sha256": sha256})

    assert photos_of([photo(1, "b"), photo(2, "a"), photo(3, "c")], [photo(4, "c")]) == ["a", "b"]


def test_nothing_goes_before_its_time_without_a_reason() -> None:
    check_may_go(trial(0, 10), 100, 100, "", "then")
    check_may_go(trial(0, 10), 100, 50, "asked by the customer", "then")
    check_may_go(trial(0, 10), None, 50, "asked by the customer", "")
    with pytest.raises(WrongInput, match="kept until then"):
        check_may_go(trial(0, 10), 100, 99, " ", "then")
    with pytest.raises(WrongInput, match="nothing is agreed"):
        check_may_go(trial(0, 10), None, 99, "", "")
    with pytest.raises(WrongInput, match="under way"):
        check_may_go(trial(0, None), None, 99, "asked", "")


def test_a_proof_reads_back_and_anything_else_is_told() -> None:
    proof = Proof(3, "heron", 7, "ada", "over", "ab", [(1, 2)], 4, "cd", {"a.pv": (2, "ef")}, ["12"], True)
    told = json.loads(json.dumps(proof.to_json()))
    assert Proof.from_json(told, "p.json") == proof
    for wrong in ({}, {**told, "form": "another"}, {**told, "tags": {"a.pv": 2}}):
        with pytest.raises(WrongInput, match=r"p\.json"):
            Proof.from_json(wrong, "p.json")
