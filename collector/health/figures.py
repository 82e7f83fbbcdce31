"""How the recorder and its sources do, from what was counted; nothing is read here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from math import isnan, nan
from typing import Any, Final

from collector.keeping.flow import FlowNow
from collector.source import SourceCounts, SourceState
from historian.catalogue import canonical_tag
from historian.clocks.originals import shift_path
from historian.frame import NS
from historian.tags import Tag

STATE_NUMBERS: Final[Mapping[SourceState, int]] = {
    SourceState.WAITING: 0,
    SourceState.CONNECTED: 1,
    SourceState.LOST: 2,
    SourceState.REFUSED: 3,
}

ON_THE_WAY_S: Final = 1.0
"""How long a sample is on its way at most when all is well: sampled, published and cut. common practice, no
source; with the intervals that the collector asks for."""


@dataclass(frozen=True, slots=True)
class Look:
    """What was counted of one source up to one moment.

    Attributes:
        at_ns: arrival time of the moment.
        clock_ns: what the edge's clock showed; it differs from arrival where that clock is not believed.
        clock_fault: what is wrong with the source's clock, one clause; empty when nothing is known to be.
    """

    at_ns: int
    clock_ns: int
    state: SourceState
    since_ns: int
    counts: SourceCounts
    flow: FlowNow
    clock_fault: str = ""


@dataclass(frozen=True, slots=True)
class SourceHealth:
    """How one source does; NaN where it is not known.

    Attributes:
        name: of the source.
        state, since_ns: how it stands, and since when, UTC nanoseconds.
        connected_s: for how long it has been connected; 0 when it is not.
        rate_per_s: samples that arrived a second, over the last minute.
        lag_s, worst_lag_s: from the source's time stamp to arrival: the newest sample, and the latest one of
            the last minute.
        clock_offset_s: by how much the source's clock is ahead of this computer's; while nothing but late
            samples comes, it looks behind by as much.
        clock_uncertainty_s: how far off that may be.
        clock_fault: what is known to be wrong with it, one clause; empty when nothing is.
        gaps, gap_s: how often and how long it was lost since the start.
        counts: what it counted itself.
    """

    name: str
    state: SourceState
    since_ns: int
    connected_s: float
    rate_per_s: float
    lag_s: float
    worst_lag_s: float
    clock_offset_s: float
    clock_uncertainty_s: float
    gaps: int
    gap_s: float
    counts: SourceCounts
    clock_fault: str = ""


@dataclass(frozen=True, slots=True)
class StoreHealth:
    """How the way to the disk does.

    Attributes:
        backlog: samples that are not on disk yet.
        commit_age_s: how long ago the last sample was put there.
        disk_free_bytes, disk_bytes: of the disk that holds the store; NaN when not known.
    """

    backlog: int
    commit_age_s: float
    disk_free_bytes: float = nan
    disk_bytes: float = nan


@dataclass(frozen=True, slots=True)
class Health:
    """How everything does at one moment.

    Attributes:
        at_ns, clock_ns: as of a look.
        clock_doubt: why this computer's own clock is not believed, one clause; empty when it is.
    """

    at_ns: int
    clock_ns: int
    sources: tuple[SourceHealth, ...]
    store: StoreHealth
    clock_doubt: str = ""

    def reasons(self, within_s: float) -> list[str]:
        """Why this recorder does not do its work in full, in sentences; empty when it does.

        Args:
            within_s: the store must have taken samples within so many seconds.
        """
        said = [f"source {s.name} is {s.state}" for s in self.sources if s.state is not SourceState.CONNECTED]
        if self.store.commit_age_s > within_s:
            said.append(
                f"the store has taken nothing for {self.store.commit_age_s:.0f} s; "
                f"{self.store.backlog} samples wait in memory"
            )
        return said

    def to_json(self) -> dict[str, Any]:
        """The health as JSON types; None where it is not known."""
        return {
            "sources": {s.name: _plain(s) for s in self.sources},
            "store": _plain(self.store),
            "clock_doubt": self.clock_doubt,
        }


def health_of(name: str, before: Look, now: Look) -> SourceHealth:
    """How a source does, from two looks at it; the rate is over the time between them.

    Example:
        >>> quiet = Look(0, 0, SourceState.CONNECTED, 0, SourceCounts(received=10), FlowNow())
        >>> flow = FlowNow(lag_ns=250_000_000)
        >>> counts, minute_ns = SourceCounts(received=610), 60 * NS
        >>> busy = Look(minute_ns, minute_ns, SourceState.CONNECTED, 0, counts, flow)
        >>> (health := health_of("press", quiet, busy)).rate_per_s, health.lag_s
        (10.0, 0.25)
    """
    passed_s = (now.at_ns - before.at_ns) / NS
    arrived = now.counts.received - before.counts.received
    offset_s, uncertainty_s = clock_offset_s(now.flow)
    connected = now.state is SourceState.CONNECTED
    return SourceHealth(
        name,
        now.state,
        now.since_ns,
        max(0.0, (now.clock_ns - now.since_ns) / NS) if connected else 0.0,
        arrived / passed_s if passed_s > 0 and arrived >= 0 else nan,
        _seconds(now.flow.lag_ns),
        _seconds(now.flow.worst_lag_ns),
        offset_s,
        uncertainty_s,
        now.flow.gaps,
        now.flow.gap_ns / NS,
        now.counts,
        now.clock_fault,
    )


def clock_offset_s(flow: FlowNow) -> tuple[float, float]:
    """By how much a source's clock is ahead, and how far off that may be.

    The sample that was on its way for the shortest time tells most: its delay is what the clock is behind,
    and the time on the way, which lies between nothing and ``ON_THE_WAY_S``.

    Example:
        >>> clock_offset_s(FlowNow(least_lag_ns=-9_500_000_000))
        (10.0, 0.5)
    """
    if flow.least_lag_ns is None:
        return nan, nan
    return ON_THE_WAY_S / 2 - flow.least_lag_ns / NS, ON_THE_WAY_S / 2


def health_tags(sources: Iterable[str]) -> list[Tag]:
    """The tags that hold the health of these sources and of the recorder, to be registered in a store."""
    none = SourceHealth("", SourceState.WAITING, 0, nan, nan, nan, nan, nan, nan, 0, nan, SourceCounts())
    paths = [*values_of_recorder(Health(0, 0, (), StoreHealth(0, nan)))]
    for name in sources:
        paths += [*values_of_source(none, name), shift_path(name)]
    return [canonical_tag(path, source="edge") for path in paths]


def values_of(health: Health) -> dict[str, float]:
    """Every figure by the path of its tag; those that are not known are left out."""
    values = values_of_recorder(health)
    for source in health.sources:
        values |= values_of_source(source, source.name)
    return {path: value for path, value in values.items() if not isnan(value)}


def values_of_source(health: SourceHealth, name: str) -> dict[str, float]:
    """A source's figures by path."""
    at = f"edge.source.{in_path(name)}"
    figures = {
        "state": float(STATE_NUMBERS[health.state]),
        "connected.time.calc": health.connected_s,
        "rate.calc": health.rate_per_s,
        "lag.calc": health.lag_s,
        "lag.worst.calc": health.worst_lag_s,
        "clock.offset.calc": health.clock_offset_s,
        "clock.uncertainty.calc": health.clock_uncertainty_s,
        "clock.wrong.state": float(bool(health.clock_fault)),
        "gaps.total": float(health.gaps),
        "gaps.time.total": health.gap_s,
        "waiting.calc": float(health.counts.waiting),
    }
    counted = {f"{f.name}.total": f.name for f in fields(SourceCounts) if f.name != "waiting"}
    figures |= {path: float(getattr(health.counts, name)) for path, name in counted.items()}
    return {f"{at}.{what}": value for what, value in figures.items()}


def values_of_recorder(health: Health) -> dict[str, float]:
    """The figures of the way to the disk and of this computer's clock by path."""
    store = health.store
    return {
        "edge.store.backlog.calc": float(store.backlog),
        "edge.store.commit.age.calc": store.commit_age_s,
        "edge.store.disk.free.calc": 100.0 * store.disk_free_bytes / store.disk_bytes,
        "edge.clock.wrong.state": float(bool(health.clock_doubt)),
    }


def in_path(name: str) -> str:
    """A source's name as a part of a tag's path, which has no hyphens; names have no underscores.

    Example:
        >>> in_path("filter-plc")
        'filter_plc'
    """
    return name.replace("-", "_")


def _seconds(span_ns: int | None) -> float:
    return nan if span_ns is None else span_ns / NS


def _plain(value: SourceHealth | StoreHealth) -> dict[str, Any]:
    found = asdict(value)
    return {k: None if isinstance(v, float) and isnan(v) else v for k, v in found.items()}
