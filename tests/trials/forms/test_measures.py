"""What is measured is kept in one unit, and what cannot be is refused."""

from __future__ import annotations

import pytest

from historian.errors import WrongInput
from historian.units import ucum
from trials.forms.measures import MEASURES, Of, kept_value, measure_of


@pytest.mark.parametrize(
    ("what", "value", "unit", "of", "kept"),
    [
        ("bulk-density", 0.29, "g/cm3", Of.FEED, 290.0),
        ("moisture", 500, "[ppm]", Of.PELLETS, 0.05),
        ("melting-peak", 230.0, "[degF]", Of.FEED, 110.0),
        ("length", 0.3, "cm", Of.PELLETS, 3.0),
        ("mass-of-ten", 0.2, "g", Of.PELLETS, 200.0),
    ],
)
def test_units_are_brought_to_one(what: str, value: float, unit: str, of: Of, kept: float) -> None:
    assert kept_value(what, value, unit, of) == pytest.approx(kept, rel=1e-9)


@pytest.mark.parametrize(
    ("what", "value", "unit", "of", "why"),
    [
        ("moisture", 140, "%", Of.FEED, "moisture of 140 % cannot be: it lies between 0 and 100 %"),
        ("moisture", -1, "%", Of.FEED, "cannot be"),
        ("moisture", float("nan"), "%", Of.FEED, "cannot be"),
        ("bulk-density", 290, "%", Of.FEED, "bulk density: "),
        ("bulk-density", 290, "kg/m4", Of.FEED, "bulk density: .*not known"),
        ("tails", 1, "%", Of.FEED, "tails is not measured of feed; of: pellets"),
        ("taste", 1, "%", Of.FEED, "'taste' is not measured; known are: bulk-density"),
    ],
)
def test_what_cannot_be_is_refused(what: str, value: float, unit: str, of: Of, why: str) -> None:
    with pytest.raises(WrongInput, match=why):
        kept_value(what, value, unit, of)


def test_every_unit_is_known_and_every_bound_is_one() -> None:
    for name, measure in MEASURES.items():
        assert ucum(measure.unit) == measure.unit, name
        assert measure.least < measure.most and measure.of
        assert measure_of(name) is measure
