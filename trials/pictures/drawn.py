"""What drawings are made of: curves, dots, bands and strips, with their words. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class How:
    """What holds for every drawing of a report.

    Attributes:
        zone: of the time axis.
        comma: decimal sign.
        nothing: what stands where there is nothing to draw.
    """

    zone: ZoneInfo
    comma: str = "."
    nothing: str = "no data"


@dataclass(frozen=True, slots=True)
class Curve:
    """One signal.

    Attributes:
        label: written beside the curve.
        time_ns: UTC nanoseconds, rising, shape (n,).
        value: NaN where nothing is known, shape (n,).
        hold_s: a longer pause is a gap.
        step: whether a value holds until the next.
    """

    label: str
    time_ns: NDArray[np.int64]
    value: NDArray[np.float64]
    hold_s: float
    step: bool = False


@dataclass(frozen=True, slots=True)
class Dots:
    """Single values, each at its place.

    Attributes:
        label: written beside the last one; empty where the axis says enough.
        x: UTC nanoseconds, or a quantity, shape (n,).
        y: shape (n,).
        group: a word a dot; dots of one group share colour and sign. Empty: one group.
    """

    label: str
    x: NDArray[np.float64] | NDArray[np.int64]
    y: NDArray[np.float64]
    group: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Row:
    """Curves on one axis, below the row before.

    Attributes:
        axis: quantity and unit.
        ticks_ns: short lines at its foot, such as cleanings.
        dots: single values on the same axis.
    """

    axis: str
    curves: tuple[Curve, ...]
    ticks_ns: tuple[int, ...] = ()
    dots: tuple[Dots, ...] = ()


@dataclass(frozen=True, slots=True)
class Band:
    """A stretch of time that is shaded over all rows, with its name at the top."""

    start_ns: int
    end_ns: int
    label: str


@dataclass(frozen=True, slots=True)
class Span:
    """A piece of a strip; ``kind`` picks its shade, ``label`` is written into it where there is room."""

    start_ns: int
    end_ns: int
    kind: str
    label: str = ""


@dataclass(frozen=True, slots=True)
class Strip:
    """One line of a time table.

    Attributes:
        label: to the left.
        spans: its pieces; where start and end are one, a short line.
        shades: kind → colour; kinds that are not named are grey.
    """

    label: str
    spans: tuple[Span, ...]
    shades: Mapping[str, str] = field(default_factory=dict)
