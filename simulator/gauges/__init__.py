"""Every signal that the simulated line publishes, machine by machine, and the tag of each."""

from simulator.gauges.table import signals_of, tag_of

__all__ = ["signals_of", "tag_of"]
