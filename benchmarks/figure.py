"""What a benchmark says: our figure, the plain way's, their ratio, and whether it reaches its bar."""

from __future__ import annotations

import json
import math
import statistics
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

ROUNDS = 5


@dataclass(frozen=True, slots=True)
class Figure:
    """One comparison, taken in one run on one machine.

    Attributes:
        name: what was measured, with its unit: ``durable append, samples/s at 245 a commit``.
        ours, baseline: the figures, in the unit of the name.
        bar: the ratio that must be reached.
        less_is_better: times and sizes; rates are the other way round.
        quick: taken on small data, against a bar scaled for it.
        limit: a bar for ``ours`` alone. Machines are shared, so a figure falls short only when both bars do.
        beside: what others gave for the same, by name, in the unit of the name; no bar.
    """

    name: str
    ours: float
    baseline: float
    bar: float
    less_is_better: bool = False
    quick: bool = False
    limit: float | None = None
    beside: Mapping[str, float] = field(default_factory=dict)

    @property
    def ratio(self) -> float:
        """How many times better ours is; NaN when one of the figures cannot be divided."""
        above, below = (self.baseline, self.ours) if self.less_is_better else (self.ours, self.baseline)
        return above / below if below > 0 and math.isfinite(above) else math.nan

    @property
    def holds(self) -> bool:
        """Whether the ratio reaches the bar, or ours the limit; what is no number reaches none."""
        if self.ratio >= self.bar:
            return True
        if self.limit is None:
            return False
        return self.ours <= self.limit if self.less_is_better else self.ours >= self.limit

    def to_json(self) -> str:
        """One line of JSON; a figure that is no number is null."""
        figures = {"ours": self.ours, "baseline": self.baseline, "ratio": self.ratio}
        rounded = {k: float(f"{v:.6g}") if math.isfinite(v) else None for k, v in figures.items()}
        line: dict[str, object] = {"name": self.name, **rounded, "bar": self.bar, "holds": self.holds}
        if self.limit is not None:
            line["limit"] = self.limit
        if self.beside:
            line["beside"] = {name: float(f"{v:.6g}") for name, v in self.beside.items()}
        return json.dumps({**line, "quick": True} if self.quick else line)


def table(figures: Sequence[Figure]) -> str:
    """The figures as lines for a person."""
    width = max((len(f.name) for f in figures), default=0)
    rows = [
        f"{f.name:<{width}}  {f.ours:>12,.4g}  {f.baseline:>12,.4g}  {f.ratio:>8.2f}  {f.bar:>8.2f}  "
        f"{'' if f.limit is None else format(f.limit, ',.4g'):>8}  {'holds' if f.holds else 'FALLS SHORT'}"
        f"{''.join(f'; {name} {v:,.4g}' for name, v in f.beside.items())}"
        for f in figures
    ]
    head = f"{'':<{width}}  {'ours':>12}  {'plain way':>12}  {'ratio':>8}  {'bar':>8}  {'or limit':>8}"
    return "\n".join([head, *rows])


def medians(*ways: Callable[[], float], rounds: int = ROUNDS) -> tuple[float, ...]:
    """The median figure of each way; the ways take turns, so that a busy moment hits all of them."""
    taken: list[list[float]] = [[] for _ in ways]
    for _ in range(rounds):
        for figures, way in zip(taken, ways, strict=True):
            figures.append(way())
    return tuple(statistics.median(figures) for figures in taken)


def seconds(work: Callable[[], object]) -> float:
    """How long the work takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start
