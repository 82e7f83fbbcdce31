"""Limits of a 4-20 mA signal against NAMUR NE 43.

Source: NAMUR Recommendation NE 43, Standardization of the signal level for the failure information of digital
transmitters (03.02.2003): measuring information from 3.8 to 20.5 mA; failure information at 3.6 mA and below
or at 21 mA and above. Quality codes: OPC 10000-8, 6.3.2 (BadSensorFailure, UncertainSensorNotAccurate: the
value is at one of the sensor limits).
"""

from __future__ import annotations

import math

import pytest

from collector.reading.channel import Channel
from collector.reading.mapping import Reading, TagMapping
from historian.catalogue import canonical_tag

PRESSURE = "filter.inlet.pressure.pv"


@pytest.mark.parametrize(
    ("current_ma", "bar", "quality"),
    [
        (0.0, math.nan, 0x808C_0000),
        (3.6, math.nan, 0x808C_0000),
        (3.600001, -7.49998125, 0x4093_0000),
        (3.799999, -3.75001875, 0x4093_0000),
        (3.8, -3.75, 0),
        (4.0, 0.0, 0),
        (12.0, 150.0, 0),
        (20.0, 300.0, 0),
        (20.5, 309.375, 0),
        (20.500001, 309.37501875, 0x4093_0000),
        (20.999999, 318.74998125, 0x4093_0000),
        (21.0, math.nan, 0x808C_0000),
        (22.5, math.nan, 0x808C_0000),
    ],
)
def test_0_to_300_bar(current_ma: float, bar: float, quality: int) -> None:
    channel = Channel("4-20 mA", 0.0, 300.0, "bar")
    reading = Reading(TagMapping(PRESSURE, "P1", "mA", channel=channel), canonical_tag(PRESSURE))
    value, told = reading.take(current_ma, 0)
    assert told == quality
    assert value == pytest.approx(bar, abs=1e-9, nan_ok=True)
