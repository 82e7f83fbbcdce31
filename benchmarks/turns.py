"""Several ways to answer one question, timed in turns, as a figure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

from benchmarks.figure import ROUNDS, Figure, medians, seconds

OURS = "ours"
PLAIN = "plain"


@dataclass(frozen=True, slots=True)
class Bars:
    """What a time must reach.

    Attributes:
        ratio: how many times the plain way's time ours must fit into.
        limit_ms: or ours alone; None where only the ratio counts.
    """

    ratio: float
    limit_ms: float | None = None


def timed(ways: Mapping[str, Callable[[], object]], *, rounds: int = ROUNDS) -> dict[str, float]:
    """Milliseconds of each way, medians of the rounds, in turns; they have answered once before."""
    found = medians(*(partial(seconds, way) for way in ways.values()), rounds=rounds)
    return {name: 1000 * s for name, s in zip(ways, found, strict=True)}


def time_figure(
    name: str, took_ms: Mapping[str, float], bars: Bars, *, quick: bool, of: str = OURS
) -> Figure:
    """A way of ours against the plain one, the others' beside.

    Args:
        of: which of the ways; those whose names begin with ``OURS`` are not beside each other.
    """
    others = {way: ms for way, ms in took_ms.items() if way != PLAIN and not way.startswith(OURS)}
    return Figure(f"{name}, ms", took_ms[of], took_ms[PLAIN], bars.ratio, True, quick, bars.limit_ms, others)
