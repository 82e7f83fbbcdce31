"""How the simulated line's sensors differ from the truth: noise, lag, drift, resolution, lost samples."""

from simulator.sensors.sensor import SOURCES, Readings, Sensor, Signal, source_of

__all__ = ["SOURCES", "Readings", "Sensor", "Signal", "source_of"]
