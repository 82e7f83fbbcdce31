"""Trials, operating points, phases or screens side by side: figures with differences, traces aligned. Pure.

A difference is judged only between things that are alike, or that are told to differ on purpose.
"""

from __future__ import annotations

from trials.comparison.alignment import Aligned, CycleValue, by_cleaning, by_throughput, by_time
from trials.comparison.difference import Difference, Verdict, difference
from trials.comparison.side import (
    Side,
    side_of_phase,
    side_of_point,
    side_of_windows,
    sides_of_points,
    sides_of_screens,
)
from trials.comparison.table import Comparison, Row, compare
from trials.comparison.unlike import Trait, Unlike
from trials.comparison.words import header_of, rows_of, sentences_of

__all__ = [
    "Aligned",
    "Comparison",
    "CycleValue",
    "Difference",
    "Row",
    "Side",
    "Trait",
    "Unlike",
    "Verdict",
    "by_cleaning",
    "by_throughput",
    "by_time",
    "compare",
    "difference",
    "header_of",
    "rows_of",
    "sentences_of",
    "side_of_phase",
    "side_of_point",
    "side_of_windows",
    "sides_of_points",
    "sides_of_screens",
]
