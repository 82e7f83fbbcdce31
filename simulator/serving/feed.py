"""What a server publishes second by second, whether a scenario is played or a recording."""

from __future__ import annotations

from typing import Protocol

from historian.errors import WrongInput
from historian.frame import NS
from historian.tags import Tag
from simulator.controls.view import Message
from simulator.gauges import tag_of
from simulator.published import Publication, Sample
from simulator.run import SOURCE, Recorder, Run
from simulator.scenarios.scenario import Scenario
from simulator.serving.serving import SCENARIO_SPEEDS


class Feed(Protocol):
    """A line's samples in the order of time; its clock starts with ``begin``."""

    @property
    def tags(self) -> tuple[Tag, ...]:
        """What is published; a sample's column is the place here."""
        ...

    @property
    def start_s(self) -> int:
        """The first second that is published."""
        ...

    @property
    def last_s(self) -> int | None:
        """The last second that has samples; None: it goes on."""
        ...

    @property
    def speeds(self) -> tuple[float, float]:
        """The slowest and the fastest it may be played."""
        ...

    def begin(self, now_ns: int) -> int:
        """Set the clock so that ``start_s`` is now, unless its times are fixed.

        Returns:
            source time of second 0, UTC nanoseconds.
        """
        ...

    def at(self, second: int) -> list[Sample]:
        """What is published in that second, in order of source time; seconds must rise."""
        ...

    def said(self) -> list[Message]:
        """What the line's controls have said to the operator since the last call."""
        ...

    def away(self) -> frozenset[str]:
        """Sources that nothing could be heard of in the last second that was published."""
        ...


class ScenarioFeed:
    """A scenario under way; it goes on after the scenario's duration.

    Args:
        start_s: second to start at; the plant gets there first, unsampled, on the same trajectory.
        t0_ns: source time of second 0; None: such that ``start_s`` is when it begins.
        aux_channels: made-up channels beside the line's, for a load.

    Raises:
        WrongInput: for a start before second 0, or a time finer than a server's stamps.
    """

    def __init__(
        self, scenario: Scenario, *, start_s: int = 0, t0_ns: int | None = None, aux_channels: int = 0
    ) -> None:
        if start_s < 0:
            raise WrongInput(f"start at {start_s} s: a scenario starts at second 0 or later")
        if t0_ns is not None and t0_ns % 1000:
            raise WrongInput(f"second 0 at {t0_ns} ns: whole microseconds are needed, stamps are no finer")
        run = Run(scenario)
        # Takes about a second where the start is hours in: nobody waits for samples yet.
        run.advance(start_s)
        self._recorder = Recorder(run, aux_channels=aux_channels)
        self._t0_ns = t0_ns
        self._publication: Publication | None = None
        self.tags = tuple(tag_of(path, SOURCE) for path in self._recorder.paths)
        self.start_s = start_s
        self.last_s: int | None = None
        self.speeds = SCENARIO_SPEEDS

    def begin(self, now_ns: int) -> int:
        """Set the clock; the source time of second 0."""
        zero_ns = now_ns - self.start_s * NS if self._t0_ns is None else self._t0_ns
        self._publication = Publication(self._recorder, zero_ns)
        return zero_ns

    def at(self, second: int) -> list[Sample]:
        """The samples of that second."""
        if self._publication is None:
            raise WrongInput("a feed must begin before it publishes")
        return self._publication.at(second)

    def said(self) -> list[Message]:
        """What its controls have said."""
        return self._recorder.run.plant.control.take_messages()

    def away(self) -> frozenset[str]:
        """Sources that are held back or lost."""
        upset = self._recorder.run.plant.upsets.sources
        return frozenset(name for name, now in upset.items() if now.held or now.lost)
