"""How large a digit must be to be read from where people stand."""

from __future__ import annotations

from dataclasses import dataclass

from historian.errors import WrongInput

DIGIT_TO_EM = 0.668
"""Height of a digit in the page's own font, in em. Source: the font's OS/2 table (sCapHeight 668 of 1000)."""

DIGIT_TO_DISTANCE = 1 / 120
"""Height of a digit by reading distance: 25 mm at 3 m. common practice, no source."""


@dataclass(frozen=True, slots=True)
class Wall:
    """The screen that the live page hangs on.

    Attributes:
        width_mm: visible width of the screen.
        distance_mm: from where it is read.
    """

    width_mm: float = 1210.0
    distance_mm: float = 3000.0

    def __post_init__(self) -> None:
        if not (50 <= self.width_mm <= 20_000 and 200 <= self.distance_mm <= 50_000):
            raise WrongInput(
                f"a wall screen of {self.width_mm:g} mm read from {self.distance_mm:g} mm cannot be: "
                '[dashboard] wall = { width = "1210 mm", distance = "3 m" } tells visible width and distance'
            )

    @property
    def digit_mm(self) -> float:
        """Height that a digit must have on the screen."""
        return self.distance_mm * DIGIT_TO_DISTANCE

    @property
    def font_vw(self) -> float:
        """Font size in hundredths of the screen's width: holds at any resolution.

        Example:
            >>> round(Wall(1218, 3000).font_vw * 19.2), round(Wall(531, 3000).font_vw * 19.2)
            (59, 135)
        """
        return 100 * self.digit_mm / DIGIT_TO_EM / self.width_mm
