"""A sample as the DataValue that a machine shows."""

from __future__ import annotations

import math

from asyncua import ua

from historian.quality import BAD
from simulator.opcua.places import Place
from simulator.opcua.times import stamp


def data_value(place: Place, time_ns: int, value: float, quality: int, served_ns: int) -> ua.DataValue:
    """The DataValue of a sample at its place; without a value where the quality is bad.

    Source: OPC 10000-4 (1.04), 7.7.1 (DataValue): the value is null when the status is bad.
    """
    if quality & BAD:
        shown = ua.Variant(None, ua.VariantType.Null)
    elif math.isnan(value) and place.type != ua.VariantType.Double:
        # A whole number cannot say that there is none.
        shown = ua.Variant(place.cast(0.0), place.type)
    else:
        shown = ua.Variant(place.cast(value), place.type)
    return ua.DataValue(
        shown,
        ua.StatusCode(ua.UInt32(quality)),
        SourceTimestamp=stamp(time_ns),
        ServerTimestamp=stamp(served_ns),
    )
