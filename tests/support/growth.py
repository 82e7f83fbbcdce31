"""Whether a process's memory grows: a judgement of what was measured of it, pure.

How a warm-up is told from growth. What is filled once (modules that are imported late, pools, caches, tables of
as many entries as there are tags) makes memory rise and then stay; it may rise in steps, late, but it ends.
What leaks rises with the work for as long as there is work. So the first stretch is left out, in which every
kind of work has been done at least once, and what remains is cut into equal windows. Growth is the median of
the last window over that of the first. The slope over all windows says the same without hanging on two of
them; its confidence comes from the medians of the windows, because neighbouring measurements are not
independent. Both must be bad for a leak: a step that ends between the two windows has growth, but the slope's
lower bound is near nothing; noise has a slope now and then, but no growth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import fmean, median
from typing import Final

WINDOWS: Final = 8
MOST: Final = 0.05
"""The most by which memory may grow."""

_T_95: Final = 1.943
"""Student's t, one-sided 95 %, for ``WINDOWS`` − 2 degrees of freedom. Source: ISO 3534-1 tables of t."""
