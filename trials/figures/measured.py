"""A value with what makes it uncertain, source by source, or with the reason why it is not known.

Two values that lean on the same sensor, or on sensors checked against the same reference, name the same
source; what they share then adds up or cancels by itself when they are combined.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from math import inf, isfinite, isnan, nan

from historian.sensors.uncertainty import combined

_OWN = re.compile(r", (scatter of|reading$)")
"""Ends of the names of sources that no other value shares."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One value.

    Attributes:
        value: in a unit that its user knows; NaN when it is not known.
        parts: source → signed standard uncertainty that it brings, in the value's unit.
        unknown: paths of sensors of which no uncertainty is known.
        tags: paths that it comes from.
        known_share: share of the time of which the samples are known, 0 to 1; 1 for a number that was told.
        why: the reason when it is not known; empty when it is.
    """

    value: float
    parts: Mapping[str, float] = field(default_factory=dict)
    unknown: frozenset[str] = frozenset()
    tags: tuple[str, ...] = ()
    known_share: float = 1.0
    why: str = ""

    @property
    def known(self) -> bool:
        """Whether there is a value."""
        return not self.why

    @property
    def standard(self) -> float | None:
        """Combined standard uncertainty; None while something of a sensor is not known."""
        return None if self.unknown or not self.known else combined(*self.parts.values())

    @property
    def sensors(self) -> dict[str, float]:
        """What its sensors bring, source by source: another value of the same sensors shares it."""
        paths = tuple(f"{tag}, " for tag in self.tags)
        return {
            source: part
            for source, part in self.parts.items()
            if source.startswith(("reference ", *paths)) and not _OWN.search(source)
        }

    def unless(self, bad: bool, why: str) -> Measured:
        """The same value, or the reason why it does not count."""
        return replace(self, value=nan, parts={}, why=why) if bad and self.known else self


def told(value: float | None, name: str, standard: float = 0.0) -> Measured:
    """A number that a person or a data sheet has told.

    Args:
        name: of the number, which is also the name of its source.
        standard: its standard uncertainty.
    """
    if value is None or not isfinite(value):
        return missing(f"{name} is not told")
    return Measured(value, {name: standard} if standard > 0 else {})


def missing(why: str, *tags: str) -> Measured:
    """No value, and the reason."""
    return Measured(nan, tags=tags, why=why, known_share=0.0)


def derived(function: Callable[..., float], *inputs: Measured | float, otherwise: str = "") -> Measured:
    """What a function makes of some values, with what their uncertainties do to it.

    Each source moves all inputs that lean on it at once, up and down by its standard uncertainty; half the
    difference is what it brings to the result. Hence inputs that share a source are fully correlated in it.

    Args:
        function: of as many numbers; NaN, infinity or an arithmetic error mean that it has no value.
        otherwise: why it has none.

    Source: JCGM 100:2008, 5.1.3 note 2 (half the difference), 5.2.2 (correlated inputs), F.1.2.3 (a common
        source).

    Example:
        >>> both = derived(lambda a, b: a - b, Measured(90, {"gauge": 0.5}), Measured(60, {"gauge": 0.5}))
        >>> both.value, both.standard
        (30.0, 0.0)
    """
    given = [i if isinstance(i, Measured) else Measured(float(i)) for i in inputs]
    tags = tuple(dict.fromkeys(tag for i in given for tag in i.tags))
    share = min((i.known_share for i in given), default=1.0)
    for one in given:
        if not one.known:
            return Measured(nan, tags=tags, known_share=share, why=one.why)
    middle = _number(function, [i.value for i in given])
    if not isfinite(middle):
        why = otherwise or "these values give no number"
        return Measured(nan, tags=tags, known_share=share, why=why)
    parts: dict[str, float] = {}
    unknown = frozenset[str]().union(*(i.unknown for i in given))
    for source in dict.fromkeys(s for i in given for s in i.parts):
        up = _number(function, [i.value + i.parts.get(source, 0.0) for i in given])
        down = _number(function, [i.value - i.parts.get(source, 0.0) for i in given])
        one_side = up - middle if isnan(down) else middle - down
        parts[source] = one_side if isnan(up) or isnan(down) else (up - down) / 2
        if not isfinite(parts[source]):
            parts[source] = inf
    if inf in parts.values():
        return Measured(nan, tags=tags, known_share=share, why="it is less certain than it is large")
    return Measured(middle, parts, unknown, tags, share)


def _number(function: Callable[..., float], values: list[float]) -> float:
    try:
        number = float(function(*values))
    except (ArithmeticError, ValueError, TypeError):  # a root of a negative number is complex, no float
        return nan
    return number if math.isfinite(number) else nan
