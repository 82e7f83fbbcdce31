"""Parts as a fitter calls them: a path of the line as part and machine."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

_MACHINES: Final[Mapping[str, str]] = {
    "doser": "doser",
    "extruder": "extruder",
    "filter": "melt filter",
    "die": "die",
    "pelletizer": "pelletizer",
    "water": "water",
    "dryer": "dryer",
    "source": "recording",
    "edge": "recording",
    "line": "line",
}

_PARTS: Final[Mapping[str, str]] = {
    "filter.plate": "heater plates",
    "filter.discharge": "discharge",
    "filter.wiper.blade": "wiper blade",
    "extruder.melt": "melt at the screw tip",
    "extruder.drive": "screw drive",
    "extruder.feed": "feed throat",
    "pelletizer.knife": "knives",
    "water.supply": "water supply",
    "water.flow": "water flow",
}

_NUMBERED: Final[Mapping[str, str]] = {
    "filter.plate": "plate",
    "extruder.zone": "barrel zone",
    "extruder.vent": "vent",
    "die.zone": "die zone",
}

_MEASURED: Final[Mapping[str, str]] = {
    "temp": "temperature probe",
    "pressure": "pressure sensor",
}


def machine_of(subject: str) -> str:
    """The machine that a part belongs to.

    Example:
        >>> machine_of("filter.plate.5"), machine_of("source.plc")
        ('melt filter', 'recording')
    """
    head = subject.split(".", 1)[0]
    return _MACHINES.get(head, head or "line")


def part_of(subject: str) -> str:
    """The part, without its machine.

    Example:
        >>> part_of("filter.plate.5"), part_of("filter.plate.5.temp"), part_of("filter.wiper")
        ('plate 5', 'temperature probe, plate 5', 'wiper')
        >>> part_of("filter.inlet.pressure"), part_of("source.plc"), part_of("doser")
        ('pressure sensor, inlet', 'source plc', 'doser')
        >>> part_of("filter.plate.*"), part_of("filter.plate.*.temp")
        ('plates', 'temperature probe, plates')
    """
    if subject in _PARTS:
        return _PARTS[subject]
    parts = subject.split(".")
    if len(parts) > 1 and parts[-1] in _MEASURED:
        return f"{_MEASURED[parts[-1]]}, {part_of('.'.join(parts[:-1]))}"
    kind = ".".join(parts[:2])
    if kind in _NUMBERED and len(parts) > 2:
        if parts[2] == "*":
            return f"{_NUMBERED[kind]}s"
        rest = "".join(f" {p}" for p in parts[3:])
        return f"{_NUMBERED[kind]} {parts[2]}{rest}"
    if parts[0] == "source" and len(parts) > 1:
        return f"source {'.'.join(parts[1:])}"
    return " ".join(parts[1:] or parts).replace("_", " ")


def place_of(subject: str) -> str:
    """Part and machine.

    Example:
        >>> place_of("filter.plate.5"), place_of("doser")
        ('plate 5, melt filter', 'doser')
    """
    part, machine = part_of(subject), machine_of(subject)
    return machine if part == machine else f"{part}, {machine}"
