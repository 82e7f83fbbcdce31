"""Every fault that a scenario can order, by name.

Each belongs to an entry B1–B40 of the trade's list of what goes wrong on such a line. One entry is no fault
and has no kind here: B10, the dip of all heater plates together when the first melt comes. It happens at
every start, by the filter's own physics, and nobody should be called for it.
"""

from __future__ import annotations

from collections.abc import Mapping

from simulator.faults import extruder, feed, filter, heaters, operating, pelletizer, sensors, sources, water
from simulator.faults.kind import FaultKind
from simulator.faults.order import FaultOrder

FAULTS: Mapping[str, FaultKind] = {
    **heaters.kinds(),
    **operating.kinds(),
    **filter.kinds(),
    **feed.kinds(),
    **extruder.kinds(),
    **pelletizer.kinds(),
    **water.kinds(),
    **sensors.kinds(),
    **sources.kinds(),
}


def tags_of(order: FaultOrder) -> tuple[str, ...]:
    """The tags on which a fault of a scenario shows first."""
    return FAULTS[order.fault].tags_of(order)


def what_is_missing(order: FaultOrder) -> str:
    """What an order lacks or has too much, in words for the one who wrote it; empty: nothing."""
    kind = FAULTS[order.fault]
    if kind.needs_place != (order.place is not None):
        if kind.needs_place:
            return f"'{order.fault}' needs 'place', the number of the {kind.numbered}"
        return f"'{order.fault}' has no 'place'"
    if kind.needs_tag != bool(order.tag):
        if kind.needs_tag:
            return f"'{order.fault}' needs 'tag', the path of the sensor's tag"
        return f"'{order.fault}' has no 'tag'"
    if kind.needs_source != bool(order.source):
        if kind.needs_source:
            return f"'{order.fault}' needs 'source', the name of a source of samples"
        return f"'{order.fault}' has no 'source'"
    return ""
