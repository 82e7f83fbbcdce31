"""The collector beside the plain ways of receiving the same, with real servers and brokers."""

from __future__ import annotations

from collections.abc import Iterator

from benchmarks import collector_mqtt, collector_opcua, collector_sparkplug
from benchmarks.figure import Figure


def figures(quick: bool) -> Iterator[Figure]:
    """Every figure of the area."""
    yield from collector_opcua.figures(quick)
    yield from collector_mqtt.figures(quick)
    yield from collector_sparkplug.figures(quick)
