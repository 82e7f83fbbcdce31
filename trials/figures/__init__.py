"""The figures of a trial: pure functions over samples; no store, no clock, no text of reports.

Each has its unit, window, method and uncertainty. What is not known has no value but a reason, in words.
"""

from __future__ import annotations

from trials.figures.blocking import BlockingVerdict
from trials.figures.figure import Figure
from trials.figures.measured import Measured, derived, missing, told
from trials.figures.operating_point import Facts, OperatingPoint, operating_point
from trials.figures.reading import calibration_of, traces_of
from trials.figures.residence import Vessel
from trials.figures.resistance import Melt, Reference, ScreenInUse
from trials.figures.throughput import MaterialHeat
from trials.figures.trace import Calibration, Trace, Traces
from trials.figures.windows import steady_windows, why_indicative, without_cleanings

__all__ = [
    "BlockingVerdict",
    "Calibration",
    "Facts",
    "Figure",
    "MaterialHeat",
    "Measured",
    "Melt",
    "OperatingPoint",
    "Reference",
    "ScreenInUse",
    "Trace",
    "Traces",
    "Vessel",
    "calibration_of",
    "derived",
    "missing",
    "operating_point",
    "steady_windows",
    "told",
    "traces_of",
    "why_indicative",
    "without_cleanings",
]
