"""The course of the value through the intervals, piece by piece.

Each interval is cut at its samples; a piece runs from one point to the next and belongs to one interval.

Source: OPC 10000-13 5.4.3.2 (regions of good, uncertain and bad data).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from historian.aggregates._bounds import Bounds, interpolated_bounds, simple_bounds
from historian.aggregates._codes import IS_BAD, IS_GOOD, IS_UNCERTAIN, Levels, Shares
from historian.aggregates._grid import Grid, Indices, Numbers, Slices
from historian.frame import Times, Values
from historian.quality import Mask


@dataclass(frozen=True, slots=True)
class Path:
    """The edges of the intervals and the samples between them, in order of time.

    Attributes:
        time_ns, value, level: of each point, shape (m,); value is NaN where level is bad.
        edges: index of each edge among the points, shape (intervals + 1,).
        bounds: the values at the edges.
    """

    time_ns: Times
    value: Values
    level: Levels
    edges: Indices
    bounds: Bounds

    @property
    def pieces(self) -> Slices:
        """Which pieces (or the points that begin them) belong to which interval."""
        return Slices(self.edges[:-1], self.edges[1:])


@dataclass(frozen=True, slots=True)
class Regions:
    """The pieces of a path: how long, at which mean value, how good.

    Attributes:
        length_ns: shape (pieces,).
        mean: value over the piece, NaN where bad, shape (pieces,).
        level: shape (pieces,).
        pieces: which belong to which interval.
    """

    length_ns: Times
    mean: Values
    level: Levels
    pieces: Slices

    def time_where(self, mask: Mask) -> Values:
        """Nanoseconds of each interval in pieces with the mask set, shape (intervals,)."""
        length = np.where(mask, self.length_ns, 0)
        return self.pieces.reduce(np.add, length, 0).astype(np.float64)

    def shares(self) -> Shares:
        """Nanoseconds of each interval that are good, uncertain and bad."""
        good, uncertain, bad = (self.time_where(self.level == x) for x in (IS_GOOD, IS_UNCERTAIN, IS_BAD))
        return Shares(good, uncertain, bad)

    def area(self) -> Values:
        """Integral over what is not bad, in the tag's unit times nanoseconds, shape (intervals,)."""
        part = np.where(self.level == IS_BAD, 0.0, self.mean) * self.length_ns
        return self.pieces.reduce(np.add, part, 0.0)


def simple_path(grid: Grid) -> Path:
    """Through every sample, bad ones too, with simple bounding values at the edges."""
    return _path(grid, simple_bounds(grid, grid.edges_ns), np.ones(len(grid.level), dtype=np.bool_))


def interpolated_path(grid: Grid) -> Path:
    """Through the samples that are not bad, with interpolated bounding values, always sloped, at the edges.

    Source: OPC 10000-13 5.4.3.6 (v1.05): sloped lines whatever the variable's Stepped property says.
    """
    bounds = interpolated_bounds(grid, grid.edges_ns, stepped=False)
    return _path(grid, bounds, grid.level != IS_BAD)


def regions(path: Path, *, stepped: bool) -> Regions:
    """The pieces of the path.

    A piece that begins with a bad point is bad. A line to a bad point cannot be drawn: the value is held,
    as an estimate.
    """
    left, right = path.level[:-1], path.level[1:]
    mean = path.value[:-1].copy()
    level = left.copy()
    if not stepped:
        line = (left != IS_BAD) & (right != IS_BAD)
        # Halved before they are added: two large values must not overflow.
        mean[line] = path.value[:-1][line] / 2 + path.value[1:][line] / 2
        level[line] = np.maximum(left, right)[line]
        level[(left != IS_BAD) & (right == IS_BAD)] = IS_UNCERTAIN
    return Regions(np.diff(path.time_ns), mean, level, path.pieces)


def _path(grid: Grid, bounds: Bounds, wanted: Mask) -> Path:
    edges_ns = grid.edges_ns
    low, high = grid.inside.low[0], grid.inside.high[-1]
    time_ns = grid.time_ns[low:high]
    on_edge = edges_ns[np.searchsorted(edges_ns, time_ns)] == time_ns
    chosen = np.flatnonzero(wanted[low:high] & ~on_edge) + low
    at = np.searchsorted(grid.time_ns[chosen], edges_ns) + np.arange(len(edges_ns))
    between = np.ones(len(chosen) + len(edges_ns), dtype=np.bool_)
    between[at] = False

    def merged(of_edges: Numbers, of_samples: Numbers) -> Numbers:
        column = np.empty(len(between), dtype=of_samples.dtype)
        column[at], column[between] = of_edges, of_samples[chosen]
        return column

    value = merged(bounds.value, grid.value)
    level = merged(bounds.level, grid.level)
    value[level == IS_BAD] = np.nan
    return Path(merged(edges_ns, grid.time_ns), value, level, at, bounds)
