"""What the served line publishes in one simulated second."""

from __future__ import annotations

from dataclasses import dataclass

from historian.frame import NS
from historian.quality import GOOD
from simulator.run import Recorder, to_publish
from simulator.signals import Readings


@dataclass(frozen=True, slots=True)
class Sample:
    """One published value.

    Attributes:
        path: of the tag.
        column: place of the signal in the recorder's order.
        time_ns: source time, UTC nanoseconds.
        value: in the tag's unit.
        quality: OPC UA StatusCode.
        changed: whether the value differs from the one published before.
    """

    path: str
    column: int
    time_ns: int
    value: float
    quality: int
    changed: bool


class Publication:
    """Second after second of a run, each as the samples to publish."""

    def __init__(self, recorder: Recorder, t0_ns: int) -> None:
        self._recorder = recorder
        self._t0_ns = t0_ns
        self._before: Readings | None = None

    def at(self, second: int) -> list[Sample]:
        """The samples of that second; seconds must rise."""
        shown = self._recorder.record([second])
        published = to_publish(shown, self._before, self._recorder.held)[0]
        changed = (shown != self._before)[0] if self._before is not None else [True] * len(published)
        self._before = shown
        time_ns = self._t0_ns + second * NS
        values = shown[0].tolist()
        return [
            Sample(path, k, time_ns, values[k], GOOD, bool(changed[k]))
            for k, path in enumerate(self._recorder.paths)
            if published[k]
        ]
