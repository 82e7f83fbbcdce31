"""Lays all signals of a line on one grid, once for all rules.

The stage stands first in a line's set of detectors, so that its state is saved and restored with theirs. It
finds nothing itself; whichever rule asks first of a block has it seen, the others get the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass
from math import isnan, nan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import Times
from historian.tags import Tag
from process.cycles import Cycle, CycleTracker
from rules.block import Block, Rows
from rules.finding import Finding
from rules.line import LineFacts
from rules.seen.grid import Grid
from rules.seen.heard import Heard
from rules.seen.heat import HeatFollower
from rules.seen.heat_tens import HeatTens
from rules.seen.leaps import Leaps
from rules.seen.line import LineFollower, LineState
from rules.seen.tens import TensMaker, Window
from rules.seen.told import Told


@dataclass(frozen=True, slots=True)
class Tens:
    """Ten seconds of every signal, and what the line was doing.

    Attributes:
        time_ns, rows, mean, low, high, last: see ``Window``.
        line: at their end.
        heat: the heated zones in them.
        cycles: the cleanings whose trough became known in them.
        told: what people told since the ten seconds before; also what was told late.
    """

    time_ns: int
    rows: NDArray[np.float64]
    mean: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    last: NDArray[np.float64]
    line: LineState
    heat: HeatTens
    cycles: tuple[Cycle, ...]
    told: tuple[Told, ...] = ()


@dataclass(frozen=True, slots=True)
class Seen:
    """What became certain with a block; every part may be empty.

    Attributes:
        time_ns, value: whole seconds of source time, shapes (m,) and (m, columns); NaN where not known.
        tens: tens of seconds that are over.
    """

    time_ns: Times
    value: NDArray[np.float64]
    tens: Sequence[Tens]


class Stage:
    """See the module.

    Attributes:
        column: path → column of the grid, for every signal of the line; the recorder's own are left out.
        heat: follows the heated zones.
    """

    rule = "stage"

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag]) -> None:
        self.paths = tuple(p for p in tags if not p.startswith("edge."))
        self.column: Mapping[str, int] = {p: n for n, p in enumerate(self.paths)}
        self._leaps = Leaps(tags)
        self._grid = Grid(self.paths, tags)
        self._tens = TensMaker(len(self.paths))
        self._line = LineFollower(facts, tags, self.column)
        self._heard = Heard(self.paths, tags)
        self.heat = HeatFollower(facts, self.column)
        self._tracker = CycleTracker()
        self._cycles: list[tuple[int, Cycle]] = []  # those whose ten seconds are not yet over
        self._wiper = self.column.get("filter.wiper.state", -1)
        self._told: list[Told] = []  # what the next ten seconds are told
        self._block: Block | None = None
        self._seen: Seen | None = None

    def tell(self, told: Told) -> None:
        """Take what somebody told; the rules get it with the first ten seconds that end no earlier."""
        self._told.append(told)

    def see(self, block: Block) -> Seen:
        """What becomes certain with this block; asked again of the same block, the same."""
        if self._seen is None or block is not self._block:
            taken = self._leaps.without(block)
            self.heat.hear(taken)
            rows = self._grid.rows(taken)
            self._heard.note(rows.time_ns, self._grid.sampled_ns)
            self._follow_cleanings(rows)
            tens = [self._with_line(w) for w in self._tens.of(rows)]
            self._seen = Seen(rows.time_ns, rows.value, tens)
            self._block = block
        return self._seen

    def update(self, block: Block) -> Sequence[Finding]:
        """Nothing: it sees for the others."""
        self.see(block)
        return ()

    def advance(self, now_ns: int) -> Sequence[Finding]:
        """Nothing."""
        return ()

    def at(self, rows: NDArray[np.float64], path: str) -> NDArray[np.float64]:
        """A signal's column of rows, shape (m,); NaN where the line has none."""
        column = self.column.get(path, -1)
        return rows[:, column] if column >= 0 else np.full(len(rows), np.nan)

    def dp_bar(self, rows: NDArray[np.float64]) -> NDArray[np.float64]:
        """The pressure difference over the screen, shape (m,): as sent, else inlet less outlet."""
        if "filter.dp.calc" in self.column:
            return self.at(rows, "filter.dp.calc")
        return self.at(rows, "filter.inlet.pressure.pv") - self.at(rows, "filter.outlet.pressure.pv")

    def _with_line(self, w: Window) -> Tens:
        cycles = tuple(c for t, c in self._cycles if t <= w.time_ns)
        self._cycles = [(t, c) for t, c in self._cycles if t > w.time_ns]
        told = tuple(t for t in self._told if t.time_ns <= w.time_ns)
        self._told = [t for t in self._told if t.time_ns > w.time_ns]
        line = self._line.follow(w, told)
        heat = self.heat.follow(w, self._heard.columns(w.time_ns))
        return Tens(w.time_ns, w.rows, w.mean, w.low, w.high, w.last, line, heat, cycles, told)

    def _follow_cleanings(self, rows: Rows) -> None:
        if self._wiper < 0 or len(rows.time_ns) == 0:
            return
        dp = self.dp_bar(rows.value).tolist()
        wiper = rows.value[:, self._wiper].tolist()
        die = self.at(rows.value, "die.pressure.pv").tolist()
        for time_ns, *row in zip(rows.time_ns.tolist(), dp, wiper, die, strict=True):
            if (cycle := self._tracker.push(time_ns, *row)) is not None:
                self._cycles.append((time_ns, cycle))

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            "leaps": self._leaps.save(),
            "grid": self._grid.save(),
            "tens": self._tens.save(),
            "line": self._line.save(),
            "heard": self._heard.save(),
            "heat": self.heat.save(),
            "told": [t.to_json() for t in self._told],
            "tracker": self._tracker.save(),
            "cycles": [[t, [_or_none(v) for v in astuple(c)]] for t, c in self._cycles],
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._leaps.restore(state["leaps"])
        self._grid.restore(state["grid"])
        self._tens.restore(state["tens"])
        self._line.restore(state["line"])
        self._heard.restore(state["heard"])
        self.heat.restore(state["heat"])
        self._told = [Told.from_json(t) for t in state["told"]]
        self._tracker.restore(state["tracker"])
        self._cycles = [(t, _cycle(c)) for t, c in state["cycles"]]


def _or_none(value: Any) -> Any:
    return None if isinstance(value, float) and isnan(value) else value


def _cycle(saved: Sequence[Any]) -> Cycle:
    start_ns, end_ns, flaw = saved[0], saved[1], saved[-1]
    peak, trough, period, die, growth = (nan if v is None else float(v) for v in saved[2:-1])
    return Cycle(start_ns, end_ns, peak, trough, period, die, growth, flaw)
