"""Looks at the sources and the way to the disk once a second, and has their health put into the store."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Mapping

import structlog

from collector.clock import Clock
from collector.health.figures import Health, Look, SourceHealth, StoreHealth, health_of, in_path, values_of
from collector.keeping.flow import WINDOW_NS, Flow
from collector.keeping.inbox import Inbox
from collector.source import Source, SourceState
from historian.frame import NS, Frame
from historian.tags import Tag

EVERY_NS = 10 * NS
"""Between two frames of health in the store."""

_LOOK_NS = NS

_log = structlog.get_logger(__name__)


class Watch:
    """The health of a running line.

    Args:
        sources: gives the sources that run now; those whose health has no tags are left out.
        inbox: where they deliver.
        tags: as the store knows them, by path; what ``health_tags`` names must be registered.
        clock: the edge's.

    Attributes:
        disk: free and all bytes of the store's disk, told by whoever measures them.
        health: as of the last look; None before the first. May be read on any thread.
    """

    def __init__(
        self, sources: Callable[[], Iterable[Source]], inbox: Inbox, tags: Mapping[str, Tag], clock: Clock
    ) -> None:
        self._sources, self._inbox, self._clock = sources, inbox, clock
        self._numbers: dict[str, int] = {}
        self.know(tags)
        self._flows: dict[str, tuple[Flow, int]] = {}
        self._looks: dict[str, deque[Look]] = {}
        self._looked_ns = self._kept_ns = 0
        self._failed = False
        self.disk: tuple[float, float] | None = None
        self.health: Health | None = None

    def know(self, tags: Mapping[str, Tag]) -> None:
        """Learn the numbers of further tags."""
        self._numbers.update({p: t.id for p, t in tags.items() if p.startswith("edge.")})

    def cut(self, arrival_ns: int, waiting: int, stored_ns: int) -> list[Frame]:
        """Something was cut: look, and give the frame of health when it is due. Never raises.

        Args:
            arrival_ns: of the cut.
            waiting: samples that are not on disk yet.
            stored_ns: arrival time up to which everything is there; 0 before the first.
        """
        try:
            return self._cut(arrival_ns, waiting, stored_ns)
        except Exception:
            # Not foreseen. Samples must be recorded whether their sources can be looked at or not.
            if not self._failed:
                _log.exception("health_failed")
            self._failed = True
            return []

    def _cut(self, arrival_ns: int, waiting: int, stored_ns: int) -> list[Frame]:
        sources = [s for s in self._sources() if f"edge.source.{in_path(s.name)}.state" in self._numbers]
        flows = {source.name: self._flow(source, arrival_ns) for source in sources}
        if arrival_ns - self._looked_ns < _LOOK_NS:
            return []
        self._looked_ns = arrival_ns
        age_s = (arrival_ns - stored_ns) / NS if stored_ns else 0.0
        clock_ns = self._clock.now_ns()
        faults = self._inbox.clock_faults()
        looks = tuple(
            self._look(s, flows[s.name], arrival_ns, clock_ns, faults.get(s.name, "")) for s in sources
        )
        store = StoreHealth(waiting, age_s, *(self.disk or ()))
        self.health = Health(arrival_ns, clock_ns, looks, store, faults.get("edge", ""))
        if arrival_ns - self._kept_ns < EVERY_NS:
            return []
        self._kept_ns = arrival_ns
        return [self._frame(self.health)]

    def _flow(self, source: Source, arrival_ns: int) -> Flow:
        """The source's flow, up to now."""
        flow, known = self._flows.get(source.name, (None, 0))
        flow = flow or Flow()
        batches, lag_ns = self._inbox.lag(source.name)
        if batches and batches != known:
            flow.batch(lag_ns, arrival_ns)
        flow.stands(source.status.state is SourceState.CONNECTED, arrival_ns)
        self._flows[source.name] = (flow, batches)
        return flow

    def _look(
        self, source: Source, flow: Flow, arrival_ns: int, clock_ns: int, clock_fault: str
    ) -> SourceHealth:
        status, looks = source.status, self._looks.setdefault(source.name, deque())
        state, seen = status.state, flow.now(arrival_ns)
        now = Look(arrival_ns, clock_ns, state, status.since_ns, source.counts, seen, clock_fault)
        if looks and looks[-1].counts.received > now.counts.received:
            looks.clear()  # the source was made anew
        looks.append(now)
        while len(looks) > 2 and looks[1].at_ns <= arrival_ns - WINDOW_NS:
            looks.popleft()
        return health_of(source.name, looks[0], now)

    def _frame(self, health: Health) -> Frame:
        kept = {self._numbers[p]: v for p, v in values_of(health).items() if p in self._numbers}
        n = len(kept)
        times, qualities = [health.at_ns] * n, [0] * n
        return Frame.of(list(kept), times, list(kept.values()), qualities, arrival_ns=health.at_ns)
