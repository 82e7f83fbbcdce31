"""The strongest wave in a pressure over the last minutes, with the cleanings cut out.

Each stretch between two cleanings is freed from its own slow bend; of what is left, the share of one wave in
the whole unrest is taken from sums over sines and cosines, which do not mind the holes.
Source: the classical periodogram of unevenly kept samples (Scargle 1982, its leading term).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rules.seen.grid import array, numbers
from rules.seen.wiping import NEVER_STOPS_S

WINDOW_S = 180
_LEAST_S = 60
_STRETCH_S = 40  # a shorter stretch between two cleanings shows no wave
_AFTER_WIPE_S = 40
_BEFORE_WIPE_S = 3
_SHORTEST_S, _LONGEST_S = 8.0, 60.0
_STEP = 0.5 / WINDOW_S
_EDGE = 2

Floats = NDArray[np.float64]

_PER_S = np.arange(1 / _LONGEST_S, 1 / _SHORTEST_S, _STEP)
_TURNS = 2 * np.pi * np.outer(_PER_S, np.arange(WINDOW_S))
_COS, _SIN = np.cos(_TURNS), np.sin(_TURNS)


@dataclass(frozen=True, slots=True)
class Wave:
    """What was found.

    Attributes:
        unrest_percent: standard deviation of all unrest, of the mean.
        share: of the strongest wave in the variance, 0 to 1.
        period_s: of that wave.
        mean: of the signal.
    """

    unrest_percent: float
    share: float
    period_s: float
    mean: float


class WaveFollower:
    """Keeps the last minutes of one signal, second by second."""

    def __init__(self) -> None:
        self._kept: Floats = np.full(WINDOW_S, np.nan)
        self._last_ns = 0
        self._wiped_s = _AFTER_WIPE_S
        self._moved_s = 0

    def push(self, time_ns: int, value: Floats, wiping: NDArray[np.bool_]) -> None:
        """Take ten seconds that end at that time, shape (k,)."""
        if time_ns - self._last_ns > len(value) * 1_000_000_000:
            self._kept = np.full(WINDOW_S, np.nan)
        self._last_ns = time_ns
        kept = np.concatenate((self._kept[len(value) :], value))
        for n, moves in enumerate(wiping.tolist(), start=WINDOW_S - len(value)):
            self._moved_s = self._moved_s + 1 if moves else 0
            if self._moved_s > NEVER_STOPS_S:
                continue
            self._wiped_s = 0 if moves else self._wiped_s + 1
            if moves:
                kept[n - _BEFORE_WIPE_S : n + 1] = np.nan
            elif self._wiped_s <= _AFTER_WIPE_S:
                kept[n] = np.nan
        self._kept = kept

    def forget(self) -> None:
        """Begin anew."""
        self._kept = np.full(WINDOW_S, np.nan)

    def wave(self, ripple_per_s: float = float("nan"), least_percent: float = 0.0) -> Wave | None:
        """The strongest wave; None while too little is known.

        Args:
            least_percent: unrest below which no wave is looked for, and its share is 0.
            ripple_per_s: how often the screw turns; its ripple, seen once a second, looks like a slow wave,
                which is left out.
        """
        known = ~np.isnan(self._kept)
        if known.sum() < _LEAST_S:
            return None
        edges = np.flatnonzero(np.diff(np.concatenate(([0], known.astype(np.int8), [0]))))
        rest, count, total = np.zeros(WINDOW_S), 0, 0.0
        for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            if b - a >= _STRETCH_S:
                rest[a:b] = _unbent(self._kept[a:b])
                count += b - a
                total += float(self._kept[a:b].sum())
        square = float(np.sum(rest * rest))
        if count < _LEAST_S or square <= 0 or total <= 0:
            return None
        mean = total / count
        unrest = 100 * float(np.sqrt(square / count)) / mean
        if unrest < least_percent:
            return Wave(unrest, 0.0, 0.0, mean)
        # Sums of products, not matrix products: those are handed to threads, which wait for each other.
        even, odd = (_COS * rest).sum(axis=1), (_SIN * rest).sum(axis=1)
        share = 2 * (even**2 + odd**2) / (count * square)
        share[_aliased(ripple_per_s)] = 0.0
        best = int(np.argmax(share))
        if best < _EDGE:  # the flank of something slower still: a bend, a step
            return Wave(unrest, 0.0, 0.0, mean)
        return Wave(unrest, float(min(share[best], 1.0)), float(1 / _PER_S[best]), mean)

    def share_of(self, period_s: float, ripple_per_s: float = float("nan")) -> float:
        """How much of this signal's unrest goes with a wave of about that period, 0 to 1; NaN: not known."""
        wave = self.wave(ripple_per_s)
        if wave is None:
            return float("nan")
        return wave.share if wave.share and abs(1 / wave.period_s - 1 / period_s) < 4 * _STEP else 0.0

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            "kept": numbers(self._kept),
            "last": self._last_ns,
            "wiped": self._wiped_s,
            "moved": self._moved_s,
        }

    def restore(self, state: Any) -> None:
        """Take up what ``save`` gave."""
        self._kept = array(state["kept"])
        self._last_ns, self._wiped_s = state["last"], state["wiped"]
        self._moved_s = state["moved"]


def _unbent(value: Floats) -> Floats:
    """A stretch less the parabola that fits it best.

    Example:
        >>> t = np.arange(50.0)
        >>> bool(np.allclose(_unbent(3 + 0.2 * t + 0.01 * t**2), 0))
        True
    """
    t = np.linspace(-1.0, 1.0, len(value))
    flat = value - value.mean()
    bend = t * t - (t * t).mean()
    rest: Floats = (
        flat - t * np.sum(flat * t) / np.sum(t * t) - bend * np.sum(flat * bend) / np.sum(bend * bend)
    )
    return rest


def _aliased(ripple_per_s: float) -> NDArray[np.bool_]:
    """Which waves are near to what a ripple looks like that is seen once a second."""
    if np.isnan(ripple_per_s):
        return np.zeros(len(_PER_S), dtype=np.bool_)
    seen = abs(ripple_per_s - round(ripple_per_s))
    near: NDArray[np.bool_] = np.abs(_PER_S - seen) <= 2.5 * _STEP
    return near
