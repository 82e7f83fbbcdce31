"""What can go wrong in the plant, where it takes hold, and when an outsider can first see it.

A fault has a level from 0 to its severity; it ramps up after its onset. All faults together write one
``Upsets``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from simulator.filter import ORDINARY_REST
from simulator.plant import Plant
from simulator.upsets import Upsets

# What a cleaning leaves in the holes for good at full severity, as a share of the cake.
_BLINDING_REST = 0.06
_DIRTY_BALE_FACTOR = 2.2


@dataclass(frozen=True, slots=True)
class FaultOrder:
    """One fault of a scenario.

    Attributes:
        id: name of this one in the truth file.
        fault: which fault, a key of ``FAULTS``.
        onset_s, end_s: when it begins and ends; None: not before the end of the scenario.
        ramp_s: how long it takes to grow to its severity.
        severity: 0–1; what 1 means is said beside the fault.
        place: place number where the fault needs one.
    """

    id: str
    fault: str
    onset_s: float
    end_s: float | None = None
    ramp_s: float = 0.0
    severity: float = 1.0
    place: int | None = None

    def level(self, second: float) -> float:
        """How far the fault has grown: 0 outside its time, ``severity`` after its ramp."""
        if second < self.onset_s or (self.end_s is not None and second >= self.end_s):
            return 0.0
        if self.ramp_s <= 0.0:
            return self.severity
        return self.severity * min(1.0, (second - self.onset_s) / self.ramp_s)

    def tags(self) -> tuple[str, ...]:
        """The tags on which it shows first."""
        return tuple(tag.format(place=self.place) for tag in FAULTS[self.fault].tags)


@dataclass(frozen=True, slots=True)
class FaultKind:
    """One way to fail.

    Attributes:
        text: what happens, and what severity 1 means.
        needs_place: whether a place number must be given.
        tags: where it shows first; ``{place}`` stands for the place number.
        act: writes the upset for a level and a place.
        visible: whether an outsider can see it by now, for the plant and the place.
    """

    text: str
    needs_place: bool
    tags: tuple[str, ...]
    act: Callable[[Upsets, float, int], None]
    visible: Callable[[Plant, int], bool]


def _lose_power(upsets: Upsets, level: float, place: int) -> None:
    upsets.plate_power[place] = upsets.plate_power.get(place, 1.0) * (1.0 - level)


def _lose_half(upsets: Upsets, level: float, place: int) -> None:
    _lose_power(upsets, 0.5 * level, place)


def _leave_rest(upsets: Upsets, level: float, _place: int) -> None:
    upsets.rest_share = ORDINARY_REST + (_BLINDING_REST - ORDINARY_REST) * level


def _inhibit(upsets: Upsets, _level: float, _place: int) -> None:
    upsets.trigger_inhibited = True


def _bring_dirt(upsets: Upsets, level: float, _place: int) -> None:
    upsets.dirt_factor *= 1.0 + (_DIRTY_BALE_FACTOR - 1.0) * level


def _heats_with_less_current(plant: Plant, place: int) -> bool:
    zone = plant.filter.plates[place - 1]
    return zone.duty > 0.2 and zone.power_factor < 0.99


def _wiped_with_rest(plant: Plant, _place: int) -> bool:
    return plant.filter.wiped_with_rest


def _trigger_went_unheard(plant: Plant, _place: int) -> bool:
    return plant.filter.trigger_unheard


def _dirt_came(plant: Plant, _place: int) -> bool:
    return plant.upsets.dirt_factor > 1.0 and plant.flow_kg_h > 20.0


_PLATE_TAGS = ("filter.plate.{place}.temp.pv", "filter.plate.{place}.out", "filter.plate.{place}.i")
_SCREEN_TAGS = ("filter.dp.calc", "filter.inlet.pressure.pv")

FAULTS: Mapping[str, FaultKind] = {
    "plate_open": FaultKind(
        "a heater plate burns out; severity 1: all of its power is lost",
        True,
        _PLATE_TAGS,
        _lose_power,
        _heats_with_less_current,
    ),
    "plate_half": FaultKind(
        "a heater plate loses elements; severity 1: half of its power is lost",
        True,
        _PLATE_TAGS,
        _lose_half,
        _heats_with_less_current,
    ),
    "screen_blinding": FaultKind(
        "each cleaning leaves more of the cake in the holes for good; severity 1: 6 % of it",
        False,
        _SCREEN_TAGS,
        _leave_rest,
        _wiped_with_rest,
    ),
    "cleaning_skipped": FaultKind(
        "the cleaning trigger does nothing from onset to end; severity has no meaning",
        False,
        (*_SCREEN_TAGS, "filter.wiper.state"),
        _inhibit,
        _trigger_went_unheard,
    ),
    "contam_up": FaultKind(
        "a dirty bale; severity 1: 2.2 times the dirt",
        False,
        ("filter.dp.calc", "filter.wiper.state"),
        _bring_dirt,
        _dirt_came,
    ),
}


def upsets_at(second: float, orders: Sequence[FaultOrder]) -> Upsets:
    """All faults of a scenario together, at one simulated second."""
    upsets = Upsets()
    for order in orders:
        level = order.level(second)
        if level > 0.0:
            FAULTS[order.fault].act(upsets, level, order.place or 0)
    return upsets
