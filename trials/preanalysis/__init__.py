"""Before a trial: what was measured of the material against what the line can do. Pure.

A check never says that something is safe. What can hurt people is "not assessed" until a person has looked.
"""

from __future__ import annotations

from trials.preanalysis.check import Check, Verdict
from trials.preanalysis.checks import checks_of
from trials.preanalysis.limits import LineLimits, limits_of
from trials.preanalysis.words import HEADER, rows_of, sentences_of

__all__ = [
    "HEADER",
    "Check",
    "LineLimits",
    "Verdict",
    "checks_of",
    "limits_of",
    "rows_of",
    "sentences_of",
]
