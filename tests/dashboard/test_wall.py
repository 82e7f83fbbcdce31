"""The size of digits that are read from three metres."""

from __future__ import annotations

import pytest

from dashboard.wall import DIGIT_TO_EM, Wall
from historian.errors import WrongInput


@pytest.mark.parametrize("width_mm", [531.0, 1218.0, 1650.0])
def test_digits_are_25_mm_at_three_metres_on_any_screen(width_mm: float) -> None:
    wall = Wall(width_mm, 3000.0)
    font_mm = wall.font_vw / 100 * width_mm
    assert font_mm * DIGIT_TO_EM == pytest.approx(25.0)


def test_a_screen_that_cannot_be_is_refused() -> None:
    with pytest.raises(WrongInput, match="wall"):
        Wall(1.2, 3000.0)
