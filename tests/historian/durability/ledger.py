"""What a store must hold, from what it acknowledged: kept beside the store, by the tests alone."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.historian.durability.sent import HOUR, frame_of

UNCERTAIN = 0x4000_0000
ROW = np.dtype([("tag", "<i8"), ("time_ns", "<i8"), ("bits", "<i8"), ("quality", "<i8")])
"""A sample as it must be read; the value bit for bit, one pattern for every NaN."""

SENT = np.dtype([("epoch", "<i8"), ("seq", "<i8"), *[(name, ROW[name]) for name in ROW.names or ()]])
Rows = NDArray[np.void]


def bits_of(value: Any) -> NDArray[np.int64]:
    """Values as their bits."""
    numbers = np.asarray(value, dtype=np.float64)
    return np.where(np.isnan(numbers), np.nan, numbers).view(np.int64)


def row_of(tag: Any, time_ns: Any, value: Any, quality: Any) -> Rows:
    """Samples as rows, in their order."""
    found = np.zeros(len(time_ns), dtype=ROW)
    found["tag"], found["time_ns"], found["bits"], found["quality"] = tag, time_ns, bits_of(value), quality
    return found


@dataclass
class Ledger:
    """What was sent and acknowledged; fed with the lines that a life writes.

    Attributes:
        acked: every frame up to this number was acknowledged.
        sent: no frame after this number was ever handed over.
        raw_ns, minute_ns: what retention was told to keep, nanoseconds.
        may_lose: whether the last commits may be gone after a power cut.
        now_ns: the latest time that upkeep was told.
        open: what each thread of the life is at, by its letter, the innermost last.
        done: how often each phase was entered.
        faults: what went wrong in the life, in its own words.
    """

    seed: int
    raw_ns: int
    minute_ns: int
    may_lose: bool = False
    acked: int = 0
    sent: int = 0
    now_ns: int = 0
    open: dict[str, list[str]] = field(default_factory=dict)
    done: dict[str, int] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    _parts: list[Rows] = field(default_factory=list)
    _whole: Rows = field(default_factory=lambda: np.zeros(0, dtype=SENT))

    def take(self, line: str) -> None:
        """One line of a life."""
        word, _, rest = line.partition(" ")
        match word:
            case "opened":
                self.open = {}
                if self.may_lose:
                    self.acked = min(self.acked, int(rest))
                elif int(rest) < self.acked:
                    self.faults.append(f"{self.acked} was acknowledged, but {line}")
            case "sending":
                self.sent = max(self.sent, int(rest))
            case "acked":
                self.acked = max(self.acked, int(rest))
            case "now":
                self.now_ns = max(self.now_ns, int(rest))
            case ">" | "=":
                thread, phase = rest.split(" ", 1)
                stack = self.open.setdefault(thread, [])
                if word == "=":
                    stack.pop()
                stack.append(phase)
                self.done[phase] = self.done.get(phase, 0) + 1
            case "<":
                self.open[rest].pop()
            case _:
                self.faults.append(line)

    @property
    def gone_before_ns(self) -> int:
        """Older raw samples may have gone, whole hours of them."""
        return (self.now_ns - self.raw_ns) // HOUR * HOUR

    @property
    def minutes_gone_before_ns(self) -> int:
        """Older one-minute rollups may have gone."""
        return (self.now_ns - self.minute_ns) // HOUR * HOUR

    def history(self, upto: int) -> Rows:
        """Every sample of the frames up to a number, by tag, time, epoch and order of arrival."""
        while len(self._parts) < upto:
            number = len(self._parts) + 1
            frame = frame_of(self.seed, number)
            part = np.zeros(len(frame), dtype=SENT)
            rows = row_of(frame.tag, frame.time_ns, frame.value, frame.quality)
            for name in ROW.names or ():
                part[name] = rows[name]
            part["epoch"], part["seq"] = frame.clock_epoch, number
            self._parts.append(part)
            self._whole = np.zeros(0, dtype=SENT)
        if len(self._whole) == 0:
            whole = np.concatenate([*self._parts, np.zeros(0, dtype=SENT)])
            order = np.lexsort((whole["seq"], whole["epoch"], whole["time_ns"], whole["tag"]))
            self._whole = whole[order]
        return self._whole[self._whole["seq"] <= upto]

    def expected(self, upto: int) -> Rows:
        """What a store must give of the frames up to a number: the last write of each tag, time and epoch.

        Of two epochs both stay and are at best uncertain.
        """
        rows = self.history(upto)
        rows = rows[last_of(rows)]
        found = np.zeros(len(rows), dtype=ROW)
        for name in ROW.names or ():
            found[name] = rows[name]
        good = found["quality"] >> 30 == 0
        found["quality"] |= np.where(good & in_two_epochs(rows), UNCERTAIN, 0)
        return found


def last_of(rows: Rows) -> NDArray[np.bool_]:
    """Which rows of a history no later one of the same tag, time and epoch replaced."""
    same = np.ones(max(len(rows) - 1, 0), dtype=np.bool_)
    for name in ("tag", "time_ns", "epoch"):
        same &= rows[name][1:] == rows[name][:-1]
    return np.append(~same, True)[: len(rows)]


def in_two_epochs(rows: Rows) -> NDArray[np.bool_]:
    """Which rows of a history share tag and time with one of another epoch."""
    if len(rows) == 0:
        return np.zeros(0, dtype=np.bool_)
    new = np.append(True, (np.diff(rows["tag"]) != 0) | (np.diff(rows["time_ns"]) != 0))
    first = np.flatnonzero(new)
    several = np.minimum.reduceat(rows["epoch"], first) != np.maximum.reduceat(rows["epoch"], first)
    found: NDArray[np.bool_] = several[np.cumsum(new) - 1]
    return found
