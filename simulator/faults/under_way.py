"""All faults of a scenario together, second by second."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

from simulator.faults.catalogue import FAULTS
from simulator.faults.kind import Moment
from simulator.faults.order import FaultOrder
from simulator.machines.upsets import Upsets


class CanBeTakenOut(Protocol):
    """A heated zone that the operator can take out of use."""

    taken_out: bool


class FaultsUnderWay:
    """The faults of a scenario with what they remember: the melt that has passed since each began.

    Factors of several faults multiply, of levels the worst counts, offsets and clocks add up.
    """

    def __init__(self, orders: Sequence[FaultOrder]) -> None:
        self.orders = tuple(orders)
        self._melt_kg: dict[str, float] = {}
        self._out: set[str] = set()

    def upsets(self, second: float, melt_kg: float = 0.0) -> Upsets:
        """What is wrong at that second, after so much melt since the start."""
        upsets = Upsets()
        for order in self.orders:
            kind = FAULTS[order.fault]
            level = kind.level(order, second)
            if level > 0.0:
                passed_kg = melt_kg - self._melt_kg.setdefault(order.id, melt_kg)
                kind.act(upsets, Moment(order, level, second - order.onset_s, passed_kg))
        return upsets

    def hands_on(self, upsets: Upsets, zones: Mapping[str, CanBeTakenOut]) -> None:
        """Take zones out of use that a fault says are out, and put back those whose fault is over.

        A zone that somebody else has taken out is left alone.

        Args:
            upsets: as ``upsets`` gave them.
            zones: every heated zone by the front part of its tags.
        """
        wanted = {name for name, upset in upsets.zones.items() if upset.taken_out}
        for name in sorted(wanted - self._out):
            zone = zones.get(name)
            if zone is not None and not zone.taken_out:
                zone.taken_out = True
                self._out.add(name)
        for name in sorted(self._out - wanted):
            zones[name].taken_out = False
            self._out.discard(name)

    def without(self, fault_id: str) -> FaultsUnderWay:
        """The same but for one fault, with what the others remember."""
        rest = FaultsUnderWay([order for order in self.orders if order.id != fault_id])
        rest._melt_kg = {key: kg for key, kg in self._melt_kg.items() if key != fault_id}
        rest._out = set(self._out)
        return rest


def upsets_at(second: float, orders: Sequence[FaultOrder]) -> Upsets:
    """What is wrong at one second, for who does not follow the run; a residue is then as at its onset."""
    return FaultsUnderWay(orders).upsets(second)
