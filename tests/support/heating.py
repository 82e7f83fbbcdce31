"""Switches heated zones as the plant's controls do."""

from __future__ import annotations

from collections.abc import Iterable

from simulator.machines.zones import Zone


def switch(zones: Iterable[Zone], on: bool) -> None:
    """Let the controllers of the zones heat, or not."""
    for zone in zones:
        zone.enabled = on
