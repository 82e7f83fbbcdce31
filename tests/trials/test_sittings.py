"""A trial of several days is cut where people said so, and nowhere else."""

from __future__ import annotations

import pytest

from historian.errors import WrongInput
from trials.record import Entry, What
from trials.sittings import sittings_of


def told(*acts: tuple[int, str]) -> list[Entry]:
    return [Entry(n, 1, What.SITTING, at, at, "ada", {"act": act}) for n, (at, act) in enumerate(acts, 1)]


@pytest.mark.parametrize(
    ("acts", "spans"),
    [
        ([], [(0, 100)]),
        ([(10, "begin"), (30, "end"), (60, "begin"), (90, "end")], [(10, 30), (60, 90)]),
        ([(30, "end"), (60, "begin")], [(0, 30), (60, 100)]),
        ([(10, "begin"), (60, "begin")], [(10, 60), (60, 100)]),
        ([(200, "begin"), (10, "begin")], [(10, 100)]),
        ([(10, "begin"), (10, "end")], []),
    ],
)
def test_sittings(acts: list[tuple[int, str]], spans: list[tuple[int, int]]) -> None:
    found = sittings_of(told(*acts), 0, 100)
    assert [(s.start_ns, s.end_ns) for s in found] == spans
    assert [s.number for s in found] == list(range(1, len(spans) + 1))


def test_an_end_without_a_beginning_is_told() -> None:
    with pytest.raises(WrongInput, match="entry 3: a sitting ends that did not begin"):
        sittings_of(told((10, "begin"), (20, "end"), (30, "end")), 0, 100)
