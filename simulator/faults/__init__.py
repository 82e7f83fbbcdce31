"""What can go wrong on the simulated line: faults at their times, written as upsets for the machines."""

from simulator.faults.catalogue import FAULTS, tags_of, what_is_missing
from simulator.faults.kind import FaultKind, Moment
from simulator.faults.order import FaultOrder
from simulator.faults.under_way import FaultsUnderWay, upsets_at

__all__ = [
    "FAULTS",
    "FaultKind",
    "FaultOrder",
    "FaultsUnderWay",
    "Moment",
    "tags_of",
    "upsets_at",
    "what_is_missing",
]
