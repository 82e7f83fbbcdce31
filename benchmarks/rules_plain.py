"""Two plain ways of raising alarms, over the same days as the rules: fixed limits, and a moving z-score.

Both get more than a line usually gives them: limits from a healthy day of the very same design, no alarm
while the line stands or within ten minutes of its start, and a find counts wherever the fault shows.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS, Frame
from historian.quality import is_bad
from historian.tags import Tag, TagKind
from rules.backtest.matching import BY_FAULT, Counting
from rules.backtest.said import Record, Said
from rules.backtest.scoring import Score, score
from rules.backtest.truth import Truth
from rules.finding import Priority

LIMIT, Z_SCORE = "fixed limits", "moving z-score"
BIN_S = 10
MARGIN = 0.1
"""How far beyond what a healthy day showed a limit is set, as a share of its range."""
Z_MOST = 5.0
Z_WINDOW_S = 1800
HELD_S = 30
_START_S = 600
_SCREW = "extruder.screw.speed.pv"
_ANY = Counting(frozenset((LIMIT, Z_SCORE)))
_MATCHING: Mapping[str, Counting] = dict.fromkeys(BY_FAULT, _ANY)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Binned:
    """A day's measured signals as means of ten seconds.

    Attributes:
        paths: of the columns.
        value: shape (bins, columns); NaN where nothing good came.
        start_ns: of the first bin.
        running: whether the screw turns, and has for ten minutes, shape (bins,).
    """

    paths: tuple[str, ...]
    value: Floats
    start_ns: int
    running: NDArray[np.bool_]


def binned(frames: Iterable[tuple[int, Frame]], tags: Mapping[str, Tag]) -> Binned:
    """Lay a day's measured signals on ten seconds."""
    paths = tuple(sorted(p for p, t in tags.items() if t.kind is TagKind.ANALOG and p.endswith(".pv")))
    column = np.full(max(t.id for t in tags.values()) + 1, -1)
    column[[tags[p].id for p in paths]] = np.arange(len(paths))
    parts = [f for _, f in frames]
    tag = np.concatenate([f.tag for f in parts])
    time_ns = np.concatenate([f.time_ns for f in parts])
    value = np.concatenate([f.value for f in parts])
    good = (column[tag] >= 0) & ~is_bad(np.concatenate([f.quality for f in parts])) & np.isfinite(value)
    # A clock that is an hour off would stretch the day: what lies beyond the arrivals is left out.
    good &= time_ns <= parts[-1].arrival_ns + 60 * NS
    start_ns = int(time_ns[good].min()) // (BIN_S * NS) * BIN_S * NS
    at = (time_ns[good] - start_ns) // (BIN_S * NS)
    bins = int(at.max()) + 1
    flat = at * len(paths) + column[tag[good]]
    sums = np.bincount(flat, value[good], bins * len(paths))
    counts = np.bincount(flat, minlength=bins * len(paths))
    with np.errstate(invalid="ignore"):
        mean = (sums / counts).reshape(bins, len(paths))
    turns = np.nan_to_num(mean[:, paths.index(_SCREW)]) > 5.0
    wait = _START_S // BIN_S
    since = np.cumsum(turns) - np.maximum.accumulate(np.where(turns, 0, np.cumsum(turns)))
    return Binned(paths, mean, start_ns, turns & (since > wait))


def limits_of(day: Binned) -> tuple[Floats, Floats]:
    """Low and high limit of each column, from a healthy day; shape (columns,) each."""
    seen = np.where(day.running[:, None], day.value, np.nan)
    known = ~np.isnan(seen).all(axis=0)
    low, high = np.full(len(day.paths), -np.inf), np.full(len(day.paths), np.inf)
    low[known], high[known] = np.nanmin(seen[:, known], axis=0), np.nanmax(seen[:, known], axis=0)
    width = np.where(known, high - low, 0.0)
    return low - MARGIN * width, high + MARGIN * width


def outside_limits(day: Binned, limits: Mapping[str, tuple[float, float]]) -> NDArray[np.bool_]:
    """Where a running line's signal is beyond its limits, shape (bins, columns)."""
    low, high = (np.array([limits.get(p, (-np.inf, np.inf))[k] for p in day.paths]) for k in (0, 1))
    with np.errstate(invalid="ignore"):
        return day.running[:, None] & ((day.value < low) | (day.value > high))


def beyond_z(day: Binned) -> NDArray[np.bool_]:
    """Where a running line's signal is far from the mean of the half hour before, shape (bins, columns)."""
    n = Z_WINDOW_S // BIN_S
    seen = np.where(day.running[:, None], day.value, np.nan)
    known = (~np.isnan(seen)).astype(float)
    # Near nought, sums of squares keep their digits.
    middle = np.nansum(seen, axis=0) / np.maximum(known.sum(axis=0), 1.0)
    filled = np.nan_to_num(seen - middle)
    first, second, count = (_moving(x, n) for x in (filled * known, filled**2 * known, known))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = first / count
        spread = np.sqrt(np.maximum(second / count - mean**2, 0.0))
        z = np.abs(filled - mean) / np.maximum(spread, 1e-3)
        found: NDArray[np.bool_] = (known > 0) & (count >= n // 2) & (z > Z_MOST)
    return found


def plain_score(day: Binned, beyond: NDArray[np.bool_], way: str, truths: Iterable[Truth]) -> Score:
    """The score of a plain way: a find counts on any signal where the fault shows."""
    said = tuple(_said(day, beyond, way))
    end_ns = day.start_ns + len(day.value) * BIN_S * NS
    record = Record(said, (), (), frozenset((way,)), day.start_ns, end_ns)
    return score(record, [replace(t, placed=True) for t in truths], _MATCHING)


def _said(day: Binned, beyond: NDArray[np.bool_], way: str) -> list[Said]:
    held = HELD_S // BIN_S
    found = []
    for column, path in enumerate(day.paths):
        edges = np.flatnonzero(np.diff(np.concatenate(([0], beyond[:, column].astype(np.int8), [0]))))
        for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            if b - a >= held:
                begin, end = (day.start_ns + n * BIN_S * NS for n in (a + held, b))
                found.append(Said(way, path.removesuffix(".pv"), begin, end, Priority.MEDIUM, (path,)))
    return sorted(found, key=lambda s: (s.found_ns, s.subject))


def _moving(value: Floats, n: int) -> Floats:
    """The sum of the n rows before each, shape as given."""
    summed = np.concatenate((np.zeros((1, value.shape[1])), np.cumsum(value, axis=0)))
    rows = np.arange(len(value))
    found: Floats = summed[rows] - summed[np.maximum(rows - n, 0)]
    return found
