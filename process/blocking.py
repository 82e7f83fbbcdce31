"""How dirt closes a screen at constant flow: four laws, each a power m in d(dp)/dv = k dp^m.

v is the melt that has passed each area. With a power-law melt of exponent n the powers are 0 (cake),
1 (intermediate), 1 + 2/(3n+1) (standard: dirt narrows the holes) and 1 + 1/n (complete: each piece shuts a
hole); with n = 1 they are 0, 1, 3/2 and 2.

Source: J. Hermia, Trans. IChemE 60 (1982) 183-187, turned from constant pressure to constant flow; the powers
for a power-law melt are derived here from Hagen-Poiseuille flow through round holes.
"""

from __future__ import annotations

from enum import Enum
from math import exp, inf

NEWTONIAN = 1.0


class Law(Enum):
    """How dirt closes a screen."""

    CAKE = "cake"
    INTERMEDIATE = "intermediate"
    STANDARD = "standard"
    COMPLETE = "complete"

    @property
    def wiping_helps(self) -> bool:
        """Whether the dirt lies on the screen rather than in its holes. common practice, no source."""
        return self in (Law.CAKE, Law.INTERMEDIATE)


def power_of(law: Law, exponent: float = NEWTONIAN) -> float:
    """m of a law.

    Args:
        exponent: n of the melt's power law, above 0.

    Example:
        >>> [round(power_of(law, 0.42), 2) for law in Law]
        [0.0, 1.0, 1.88, 3.38]
    """
    if law is Law.CAKE:
        return 0.0
    if law is Law.INTERMEDIATE:
        return 1.0
    return 1 + (2 / (3 * exponent + 1) if law is Law.STANDARD else 1 / exponent)


def growth(law: Law, closed: float, exponent: float = NEWTONIAN) -> float:
    """How many times its start the pressure difference is; infinite where the law has shut the screen.

    Args:
        closed: s, dirt load times the law's constant, 0 at the start.
        exponent: n of the melt's power law.

    Example:
        >>> [round(22 * growth(law, 0.5), 2) for law in Law]
        [33.0, 36.27, 39.11, 44.0]
    """
    if law is Law.CAKE:
        return 1 + closed
    if law is Law.INTERMEDIATE:
        return exp(closed)
    left, power = (1 - closed / 2, (3 * exponent + 1) / 2) if law is Law.STANDARD else (1 - closed, exponent)
    return float(left**-power) if left > 0 else inf
