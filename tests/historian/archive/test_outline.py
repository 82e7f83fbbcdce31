"""Which row groups of one pixel column a picture can do without."""

from __future__ import annotations

import pytest

from historian.archive.outline import Piece, _needless


def _pieces(*bounds: tuple[float, float] | None) -> list[Piece]:
    """Row groups with these smallest and largest values; None for one without samples of the tag."""
    return [Piece(0, k, *(b or (0.0, 0.0)), 0 if b is None else 10) for k, b in enumerate(bounds)]


@pytest.mark.parametrize(
    ("bounds", "needed"),
    [
        ([(1, 2), (0, 1), (1, 9), (1, 2), (1, 2)], [0, 1, 2, 4]),
        # Of equal extremes a picture shows the earliest.
        ([(1, 2), (0, 1), (0, 1), (1, 9), (1, 9), (1, 2)], [0, 1, 3, 5]),
        ([(0, 9), (1, 2), (1, 2)], [0, 2]),
        ([None, (1, 2), (1, 2), (1, 2), None], [1, 3]),
        ([None, None], []),
        ([], []),
    ],
)
def test_the_first_smallest_largest_and_last_are_needed(
    bounds: list[tuple[float, float] | None], needed: list[int]
) -> None:
    pieces = _pieces(*bounds)
    passed = {p.group for p in _needless(pieces)}
    assert [p.group for p in pieces if p.group not in passed] == needed
