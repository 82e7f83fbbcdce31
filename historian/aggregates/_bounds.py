"""The value at an instant that may lie between samples.

Source: OPC 10000-13 3.1.8 (interpolated bounding values) and 3.1.9 (simple bounding values).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from historian.aggregates._codes import CODE_MASK, IS_BAD, IS_UNCERTAIN, Levels, code_of
from historian.aggregates._grid import Grid, Indices
from historian.frame import Qualities, Times, Values
from historian.quality import Mask


@dataclass(frozen=True, slots=True)
class Bounds:
    """Values at given instants.

    Attributes:
        value: in the tag's unit, NaN where ``level`` is bad, shape (m,).
        level: good, uncertain or bad, shape (m,).
        code: StatusCode without information bits: a sample's own, or the one of the level, shape (m,).
        raw: a sample stands exactly there and is what is given, shape (m,).
    """

    value: Values
    level: Levels
    code: Qualities
    raw: Mask


def simple_bounds(grid: Grid, at_ns: Times) -> Bounds:
    """Values from the samples just before and just after, bad or not.

    Beyond the last sample there is none: the standard leaves extrapolation to the server, and its own tables
    give Bad_NoData.

    Args:
        at_ns: instants, UTC nanoseconds, shape (m,).

    Source: OPC 10000-13 3.1.9.
    """
    after = np.searchsorted(grid.time_ns, at_ns, side="right")
    before = after - 1
    time_ns, value, level = _padded(grid)
    exact = (before >= 0) & (time_ns[before] == at_ns)
    found_level = np.full(len(at_ns), IS_BAD, dtype=np.int8)
    found = np.full(len(at_ns), np.nan)
    within = (before >= 0) & (after < len(grid.time_ns)) & (level[before] != IS_BAD)
    if grid.stepped:
        found_level[within] = level[before[within]]
        found[within] = value[before[within]]
    else:
        line = within & (level[after] != IS_BAD)
        found[line] = _on_line(time_ns, value, before[line], after[line], at_ns[line])
        found_level[line] = np.maximum(level[before[line]], level[after[line]])
        # No line to a bad sample: the one before is held, and is only an estimate.
        held = within & ~line
        found[held], found_level[held] = value[before[held]], IS_UNCERTAIN
    found[exact], found_level[exact] = value[before[exact]], level[before[exact]]
    return _finished(grid, found, found_level, exact, before)


def interpolated_bounds(grid: Grid, at_ns: Times, *, stepped: bool) -> Bounds:
    """Values from the nearest samples that are not bad, however far off.

    Args:
        at_ns: instants, UTC nanoseconds, shape (m,).
        stepped: hold the sample before instead of going along the line to the one after.

    Source: OPC 10000-13 3.1.8.
    """
    usable = np.flatnonzero(grid.level != IS_BAD)
    usable_ns = grid.time_ns[usable]
    rank = np.searchsorted(usable_ns, at_ns, side="right")
    known = rank > 0
    found = np.full(len(at_ns), np.nan)
    level = np.full(len(at_ns), IS_BAD, dtype=np.int8)
    before = np.full(len(at_ns), -1, dtype=np.intp)
    before[known] = usable[rank[known] - 1]
    exact = known.copy()
    exact[known] = grid.time_ns[before[known]] == at_ns[known]
    found[known], level[known] = grid.value[before[known]], grid.level[before[known]]
    between = known & ~exact
    if stepped:
        beyond = np.searchsorted(grid.time_ns, at_ns) == len(grid.time_ns)
        level[between & (beyond | _bad_between(grid, before, at_ns))] = IS_UNCERTAIN
        return _finished(grid, found, level, exact, before)
    line = between & (rank < len(usable))
    after = usable[rank[line]]
    found[line] = _on_line(grid.time_ns, grid.value, before[line], after, at_ns[line])
    skipped = _bad_between(grid, before[line], grid.time_ns[after])
    level[line] = np.maximum.reduce([level[line], grid.level[after], skipped.astype(np.int8)])
    beyond = between & ~line
    level[beyond] = IS_UNCERTAIN
    if grid.config.use_sloped_extrapolation:
        found[beyond] = _along_the_last_line(grid, usable, at_ns[beyond], found[beyond])
    return _finished(grid, found, level, exact, before)


def _along_the_last_line(grid: Grid, usable: Indices, at_ns: Times, held: Values) -> Values:
    """The line of the last two samples drawn on; what is held where there is no such line."""
    if len(usable) < 2 or grid.time_ns[usable[-2]] == grid.time_ns[usable[-1]]:
        return held
    first, last = np.broadcast_to(usable[-2:, np.newaxis], (2, len(at_ns)))
    return _on_line(grid.time_ns, grid.value, first, last, at_ns)


def _on_line(time_ns: Times, value: Values, before: Indices, after: Indices, at_ns: Times) -> Values:
    """Where the lines between samples cross the instants; differences of stamps are taken as integers."""
    share: Values = (at_ns - time_ns[before]) / (time_ns[after] - time_ns[before])
    return value[before] + share * (value[after] - value[before])


def _bad_between(grid: Grid, before: Indices, to_ns: Times) -> Mask:
    """Whether a bad sample lies after the one before and up to the instant."""
    bad_ns = grid.time_ns[grid.level == IS_BAD]
    from_ns = grid.time_ns[before] if len(grid.time_ns) else to_ns
    mask: Mask = np.searchsorted(bad_ns, to_ns, side="right") > np.searchsorted(bad_ns, from_ns, side="right")
    return mask


def _finished(grid: Grid, value: Values, level: Levels, exact: Mask, before: Indices) -> Bounds:
    code = code_of(level)
    raw = exact & (level != IS_BAD)
    code[raw] = grid.quality[before[raw]] & np.uint32(CODE_MASK)
    value[level == IS_BAD] = np.nan
    return Bounds(value, level, code, raw)


def _padded(grid: Grid) -> tuple[Times, Values, Levels]:
    """The columns with one bad sample at the end, so that an index of -1 or n reads something harmless."""
    last = grid.time_ns[-1:] if len(grid.time_ns) else np.zeros(1, dtype=np.int64)
    return (
        np.append(grid.time_ns, last),
        np.append(grid.value, np.nan),
        np.append(grid.level, np.int8(IS_BAD)),
    )
