"""What the served line publishes in one simulated second."""

from __future__ import annotations

from dataclasses import dataclass

from simulator.delivery import Delivery
from simulator.recorder import Recorder


@dataclass(frozen=True, slots=True)
class Sample:
    """One published value.

    Attributes:
        path: of the tag.
        column: place of the signal in the recorder's order.
        time_ns: source time, UTC nanoseconds.
        value: in the tag's unit; a bad one too has a number: what the controller goes on showing.
        quality: OPC UA StatusCode.
        changed: whether value or quality differ from what was published before.
    """

    path: str
    column: int
    time_ns: int
    value: float
    quality: int
    changed: bool


class Publication:
    """Second after second of a run, each as the samples to publish.

    Args:
        recorder: reads the run.
        t0_ns: source time of second 0, UTC nanoseconds.
    """

    def __init__(self, recorder: Recorder, t0_ns: int) -> None:
        self._recorder = recorder
        self._t0_ns = t0_ns
        self._delivery = Delivery(recorder.held, recorder.sources, clocks=recorder.clocks)
        self._before: dict[int, tuple[float, int]] = {}

    def at(self, second: int) -> list[Sample]:
        """The samples that are published in that second, in order of source time; seconds must rise.

        A source that was held back gives what it held with the times of then.
        """
        arrived = self._delivery.of(self._recorder.take([second]))
        arrived = arrived.where(arrived.time_ns.argsort(kind="stable"))
        paths, before = self._recorder.paths, self._before
        samples = []
        for column, time_ns, value, quality in zip(
            arrived.column.tolist(),
            (arrived.time_ns + self._t0_ns).tolist(),
            arrived.value.tolist(),
            arrived.quality.tolist(),
            strict=True,
        ):
            shown = (value, quality)
            samples.append(
                Sample(paths[column], column, time_ns, value, quality, before.get(column) != shown)
            )
            before[column] = shown
        return samples
