"""Small detectors and frames for the tests of the engine: quick to reason about, with every trait that counts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from historian.catalogue import canonical_tag
from historian.frame import NS, Frame
from historian.quality import is_bad
from historian.tags import Tag
from rules.block import Block
from rules.finding import Evidence, Finding, Priority

T0 = 1_700_000_000 * NS
PATHS = ("filter.inlet.pressure.pv", "filter.plate.1.temp.pv", "water.flow.pv")


def tags_of(paths: Sequence[str] = PATHS) -> dict[str, Tag]:
    """The tags, numbered from 1."""
    found = {}
    for number, path in enumerate(paths, start=1):
        data = canonical_tag(path).to_json()
        found[path] = Tag.from_json(data, id=number)
    return found


def finding(
    active: bool = True,
    *,
    rule: str = "over",
    subject: str = "filter.inlet",
    time_ns: int = T0,
    priority: Priority = Priority.MEDIUM,
    sentence: str = "The pressure is high.",
    momentary: bool = False,
    late: bool = False,
) -> Finding:
    """A finding with little to say."""
    evidence = Evidence(time_ns - NS, time_ns, ("filter.inlet.pressure.pv",), {"pressure": (51.0, "bar")})
    return Finding(
        rule, subject, active, time_ns, time_ns, priority, sentence, "Look at it.", evidence, momentary, late
    )


class Over:
    """A limit that must be exceeded for a while of source time."""

    def __init__(self, path: str, limit: float, delay_s: int, priority: Priority = Priority.MEDIUM) -> None:
        self.path, self.limit, self.delay_ns, self.priority = path, limit, delay_s * NS, priority
        self.since: int | None = None
        self.active = False

    @property
    def rule(self) -> str:
        return "over"

    def update(self, block: Block) -> list[Finding]:
        series, found = block.series(self.path), []
        for t, v, bad in zip(
            series.time_ns.tolist(), series.value.tolist(), is_bad(series.quality), strict=True
        ):
            if bad:
                continue
            if v <= self.limit:
                self.since = None
                if self.active:
                    self.active = False
                    found.append(self._say(t))
                continue
            self.since = t if self.since is None else self.since
            if not self.active and t - self.since >= self.delay_ns:
                self.active = True
                found.append(self._say(t))
        return found

    def _say(self, time_ns: int) -> Finding:
        words = f"Over {self.limit}" if self.active else "No longer over"
        subject = self.path.removesuffix(".pv")
        return finding(self.active, subject=subject, time_ns=time_ns, priority=self.priority, sentence=words)

    def advance(self, now_ns: int) -> list[Finding]:
        return []

    def save(self) -> dict[str, Any]:
        return {"since": self.since, "active": self.active}

    def restore(self, state: Mapping[str, Any]) -> None:
        self.since, self.active = state["since"], state["active"]


class Silent:
    """A tag that has sent nothing for a while of arrival time."""

    rule = "silent"

    def __init__(self, path: str, after_s: int) -> None:
        self.path, self.after_s = path, after_s
        self.quiet_s = 0
        self.heard = False
        self.active = False

    def update(self, block: Block) -> list[Finding]:
        self.heard = len(block.series(self.path)) > 0
        return []

    def advance(self, now_ns: int) -> list[Finding]:
        self.quiet_s = 0 if self.heard else self.quiet_s + 1
        self.heard = False
        if self.active == (self.quiet_s >= self.after_s):
            return []
        self.active = not self.active
        subject = self.path.removesuffix(".pv")
        return [finding(self.active, rule=self.rule, subject=subject, time_ns=now_ns, priority=Priority.HIGH)]

    def save(self) -> dict[str, Any]:
        return {"quiet_s": self.quiet_s, "heard": self.heard, "active": self.active}

    def restore(self, state: Mapping[str, Any]) -> None:
        self.quiet_s, self.heard, self.active = state["quiet_s"], state["heard"], state["active"]


class Failing(Silent):
    """Fails when its tag shows the value 13."""

    rule = "failing"

    def update(self, block: Block) -> list[Finding]:
        if 13.0 in block.series(self.path).value:
            raise ZeroDivisionError("thirteen")
        return super().update(block)


def make_detectors() -> list[Over | Silent]:
    """A line's worth of toys."""
    return [
        Over(PATHS[0], 50.0, 0),
        Over(PATHS[1], 50.0, 2, Priority.HIGH),
        Silent(PATHS[2], 3),
    ]


def frame_at(arrival_s: float, *samples: tuple[int, float, float], epoch: int = 0) -> Frame:
    """A frame that arrived so many seconds after T0.

    Args:
        samples: tag number, source time in seconds after T0, value; NaN is sent as no data.
    """
    return Frame.of(
        [s[0] for s in samples],
        [T0 + round(s[1] * 1000) * 1_000_000 for s in samples],
        [s[2] for s in samples],
        [0x809B0000 if s[2] != s[2] else 0 for s in samples],
        arrival_ns=T0 + round(arrival_s * 1000) * 1_000_000,
        clock_epoch=epoch,
    )
