"""A written accuracy becomes a limit of error in the tag's unit, or is refused with what may be written."""

from __future__ import annotations

import pytest

from historian.catalogue import canonical_tag
from historian.errors import UnitMismatch, UnknownUnit, WrongInput
from historian.sensors.tolerance import default_tolerance, tolerance_of
from historian.tags import Tag


@pytest.mark.parametrize(
    ("text", "unit", "limit"),
    [
        ("0.5 %", "bar", 1.75),
        ("1.2 bar", "bar", 1.2),
        ("0.2 MPa", "bar", 2.0),
        ("1.8 [degF]", "Cel", 1.0),  # a limit is a difference: 1.8 °F are 1 K
        ("2 K", "Cel", 2.0),
        ("Pt100 B", "Cel", 1.3),
        ("2 %", "%", 2.0),
    ],
)
def test_what_may_be_written(text: str, unit: str, limit: float) -> None:
    assert tolerance_of(text, 350.0, unit).limit(200.0) == pytest.approx(limit)


@pytest.mark.parametrize(
    ("text", "unit", "error", "said"),
    [
        ("good", "bar", UnknownUnit, "no accuracy"),
        ("Pt100 B", "bar", WrongInput, "temperature sensors"),
        ("2 K", "bar", UnitMismatch, "do not measure"),
        ("-1 bar", "bar", WrongInput, "from 0 up"),
        ("nan bar", "bar", WrongInput, "from 0 up"),
    ],
)
def test_what_may_not(text: str, unit: str, error: type[WrongInput], said: str) -> None:
    with pytest.raises(error, match=said):
        tolerance_of(text, 350.0, unit)


def test_what_is_assumed_when_nobody_describes_a_sensor() -> None:
    melt = default_tolerance(canonical_tag("extruder.melt.temp.pv"))
    assert melt is not None and melt.limit(200.0) == 2.5 and "IEC 60584-1" in melt.name
    pressure = default_tolerance(canonical_tag("filter.inlet.pressure.pv"))
    assert (
        pressure is not None
        and pressure.limit(0.0) == pytest.approx(5.1)
        and "1 % of the range" in pressure.name
    )
    for path in ("extruder.speed.sp", "filter.wiper.state", "filter.dp.calc"):
        assert default_tolerance(canonical_tag(path)) is None
    assert default_tolerance(Tag("own.thing.pv", "bar")) is None
