"""Units of the United States, against numbers that others publish."""

from __future__ import annotations

import pytest

from trials.report.units import System, shown

# NIST SP 811 (2008), appendix B.9, factors the other way round; B.8 for temperatures.
PUBLISHED = [
    ("bar", 1.0, 14.5038, "psi"),
    ("kg/h", 100.0, 220.462, "lb/h"),
    ("kg", 1.0, 2.20462, "lb"),
    ("mm", 25.4, 1.0, "in"),
    ("cm2", 6.4516, 1.0, "in²"),
    ("m2", 0.09290304, 1.0, "ft²"),
    ("m3/h", 22.0, 96.8625, "gal/min"),
    ("L", 3.785412, 1.0, "gal"),
    ("kg/m3", 16.01846, 1.0, "lb/ft³"),
    ("Cel", 220.0, 428.0, "°F"),
    ("K", 10.0, 18.0, "°F"),
    ("/m", 1.0, 0.3048, "1/ft"),
]


@pytest.mark.parametrize(("unit", "kept", "read", "text"), PUBLISHED)
def test_as_published(unit: str, kept: float, read: float, text: str) -> None:
    how = shown(unit, System.US)
    assert kept * how.scale + how.offset == pytest.approx(read, rel=2e-5)
    assert how.text == text


def test_made_of_them() -> None:
    psi, lb, square_in = 14.50377, 2.204623, 1 / 6.4516
    assert shown("kg/h/cm2", System.US).scale == pytest.approx(lb / square_in, rel=1e-5)
    assert shown("bar.cm2/kg", System.US).scale == pytest.approx(psi * square_in / lb, rel=1e-5)
    assert shown("kW.h/kg", System.US).scale == pytest.approx(1 / lb, rel=1e-5)
    assert shown("kg.min/h", System.US).scale == pytest.approx(lb, rel=1e-5)


def test_a_difference_of_temperatures_has_no_offset() -> None:
    assert shown("Cel", System.US, difference=True).offset == 0
    assert shown("Cel", System.METRIC, difference=True).text == "K"


def test_metric_units_stay_as_they_are() -> None:
    for unit, *_ in PUBLISHED:
        assert (shown(unit, System.METRIC).scale, shown(unit, System.METRIC).offset) == (1.0, 0.0)
    assert shown("um", System.US) == shown("um", System.METRIC)
