"""The historian beside the plain ways of doing the same, on one reference data set."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import nullcontext

from benchmarks import appending, asking, long_windows, memory, sizes
from benchmarks.figure import Figure
from benchmarks.influx_beside import influx_of
from benchmarks.prepared import alone, prepared


def figures(quick: bool) -> Iterator[Figure]:
    """Every figure of the area; the first run makes the data, which takes minutes."""
    with alone():
        data = prepared(quick=quick)
        yield from appending.figures(quick)
        with influx_of(data) or nullcontext() as influx:
            yield from sizes.figures(data, influx)
            yield from asking.figures(data, influx)
            yield from long_windows.figures(data, influx)
        yield from memory.figures(data)
