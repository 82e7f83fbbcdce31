"""The table of all signals, in a fixed order, and their tags."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from historian.catalogue import canonical_tag, meaning_of
from historian.tags import Tag
from simulator.gauges.extruder import extruder_signals, pump_signals
from simulator.gauges.feed import feed_signals
from simulator.gauges.filter import filter_signals
from simulator.gauges.line import Line, line_signals
from simulator.gauges.pelletizer import pelletizer_signals
from simulator.sensors import Sensor, Signal
from simulator.sensors.kinds import EXACT

_AUX = Sensor(sigma=1.0, decimals=None)


def signals_of(
    plant: Line, aux_channels: int = 0, *, knobs: Mapping[str, Callable[[], float]] | None = None
) -> list[Signal]:
    """Every signal of the plant in a fixed order.

    Args:
        plant: what is read.
        aux_channels: channels ``aux.channel.N.pv`` that carry noise and nothing else, to make up a load.
        knobs: further set-points by the path of their tag, how each is read; those that the machines' own
            tables have are passed over.
    """
    signals = [
        *feed_signals(plant),
        *extruder_signals(plant),
        *pump_signals(plant),
        *filter_signals(plant),
        *pelletizer_signals(plant),
        *line_signals(plant),
    ]
    known = {s.path for s in signals}
    signals += [Signal(path, read, EXACT) for path, read in (knobs or {}).items() if path not in known]
    return signals + [Signal(f"aux.channel.{n}.pv", lambda: 50.0, _AUX) for n in range(1, aux_channels + 1)]


def tag_of(path: str, source: str) -> Tag:
    """The tag of a published signal."""
    tag = canonical_tag(path, source=source, simulated=True)
    return tag if meaning_of(path) is not None else replace(tag, text="made-up channel for load tests")
