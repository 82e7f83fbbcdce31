"""The historian beside the plain ways of doing the same, on one reference data set."""

from __future__ import annotations

from collections.abc import Iterator

from benchmarks import appending, asking, long_windows, memory, sizes
from benchmarks.figure import Figure
from benchmarks.prepared import prepared


def figures(quick: bool) -> Iterator[Figure]:
    """Every figure of the area; the first run makes the data, which takes minutes."""
    yield from appending.figures(quick)
    data = prepared(quick=quick)
    yield from sizes.figures(data)
    yield from asking.figures(data)
    yield from long_windows.figures(data)
    yield from memory.figures(data)
