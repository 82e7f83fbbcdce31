"""Standard uncertainties: what a limit, a certificate or a display is worth, and how they add up.

Source: JCGM 100:2008 (GUM), 4.3 (evaluation of type B) and 5.1 (combined standard uncertainty).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import NormalDist

COVERAGE = 2.0
"""Factor from a standard to an expanded uncertainty: about 95 %. Source: JCGM 100:2008, 6.2 and 6.3."""


def rectangular(half_width: float) -> float:
    """From limits of ± half_width, within which every error is as likely. Source: JCGM 100:2008, 4.3.7.

    Example:
        >>> round(rectangular(0.40), 2)
        0.23
    """
    return abs(half_width) / math.sqrt(3.0)


def from_expanded(expanded: float, coverage: float = COVERAGE) -> float:
    """From an expanded uncertainty and its coverage factor, as certificates state it.

    Source: JCGM 100:2008, 4.3.3 and 4.3.4.

    Example:
        >>> from_expanded(240.0, 3.0)
        80.0
    """
    return expanded / coverage


def from_interval(half_width: float, probability: float) -> float:
    """From an interval that holds the value with a probability, normally distributed.

    Source: JCGM 100:2008, 4.3.4.
    """
    return half_width / NormalDist().inv_cdf(0.5 + probability / 2.0)


def resolution(step: float) -> float:
    """From the smallest step that a display or a converter makes. Source: JCGM 100:2008, F.2.2.1.

    Example:
        >>> round(resolution(1.0), 2)
        0.29
    """
    return step / math.sqrt(12.0)


def combined(*standard: float) -> float:
    """Of a figure from independent inputs: each its own, times how much the figure changes with it.

    Source: JCGM 100:2008, 5.1.2. Inputs that share an error, such as two sensors checked against one
    reference, are not independent.

    Example:
        >>> combined(3.0, -4.0)
        5.0
    """
    return math.hypot(*standard)


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """How well one value is known.

    Attributes:
        parts: what contributes → standard uncertainty, in the value's unit.
        basis: where that comes from, for a person.
    """

    parts: Mapping[str, float]
    basis: str

    @property
    def standard(self) -> float:
        """Combined standard uncertainty, in the value's unit."""
        return combined(*self.parts.values())

    @property
    def expanded(self) -> float:
        """Expanded uncertainty with coverage factor 2, in the value's unit."""
        return COVERAGE * self.standard
