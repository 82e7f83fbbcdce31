"""A feed of a dozen tags that needs no plant: what it says follows from the second alone."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from historian.frame import NS
from historian.quality import GOOD
from historian.tags import Tag, TagKind
from simulator.controls.view import Message
from simulator.published import Sample

TAGS = (
    Tag("filter.inlet.pressure.pv", "bar", text="melt pressure before the screen"),
    Tag("filter.outlet.pressure.pv", "bar"),
    Tag("filter.wiper.state", "1", TagKind.CODE, codes={0: "parked", 1: "wiping"}),
    Tag("filter.wiper.park.state", "1", TagKind.BOOLEAN),
    Tag("extruder.zone.2.temp.pv", "Cel"),
    Tag("extruder.zone.2.temp.sp", "Cel", TagKind.STEP),
    Tag("extruder.enable.state", "1", TagKind.BOOLEAN),
    Tag("extruder.drive.energy.total", "kW.h", TagKind.STEP),
    Tag("product.scale.total", "kg", TagKind.STEP),
    Tag("line.power.pv", "kW"),
)
PRESSURE = TAGS[0].path


def value(tag: Tag, column: int, second: int) -> float:
    """What a tag says in a second: held ones change every tenth, measured ones always."""
    kind = tag.kind
    if kind is TagKind.BOOLEAN:
        return 1.0
    if kind is TagKind.CODE:
        return float(second // 10 % 2)
    if kind is TagKind.STEP:
        return 185.0 if tag.unit == "Cel" else float(second // 10)
    if tag.unit == "Cel":
        return 185.0 + 0.1 * math.sin(second)
    return 70.0 + 10.0 * column + round(math.sin(second), 3)


@dataclass
class SmallLine:
    """The feed.

    Attributes:
        start_s, last_s, speeds: as of any feed.
        t0_ns: source time of second 0; None: such that the start is when it begins.
        held: source (first word of the path) whose samples wait from second 10 to 20 of each 40 and come then.
        wrong: path → value and quality in the seventh second of each ten.
    """

    start_s: int = 0
    last_s: int | None = None
    speeds: tuple[float, float] = (1.0, 100.0)
    t0_ns: int | None = 1_900_000_000 * NS
    held: str = ""
    wrong: Mapping[str, tuple[float, int]] = field(default_factory=dict)
    tags: tuple[Tag, ...] = TAGS
    _zero_ns: int = 0
    _holds: bool = False
    _before: dict[int, tuple[float, int]] = field(default_factory=dict)
    _waiting: list[Sample] = field(default_factory=list)

    def begin(self, now_ns: int) -> int:
        """Set the clock."""
        self._zero_ns = now_ns - self.start_s * NS if self.t0_ns is None else self.t0_ns
        return self._zero_ns

    def at(self, second: int) -> list[Sample]:
        """The samples of that second, and those that waited for it."""
        given: list[Sample] = []
        self._holds = 10 <= second % 40 < 20
        for column, tag in enumerate(self.tags):
            shown = (value(tag, column, second), GOOD)
            if second % 10 == 7:
                shown = self.wrong.get(tag.path, shown)
            if tag.holds and self._before.get(column) == shown:
                continue
            changed = self._before.get(column) != shown
            self._before[column] = shown
            sample = Sample(tag.path, column, self._zero_ns + second * NS, *shown, changed)
            waits = tag.path.split(".")[0] == self.held and self._holds
            (self._waiting if waits else given).append(sample)
        if not self._holds:
            given, self._waiting = [*self._waiting, *given], []
        return sorted(given, key=lambda s: s.time_ns)

    def said(self) -> list[Message]:
        """Nothing: it has no controls."""
        return []

    def away(self) -> frozenset[str]:
        """The source that is held back, while it is."""
        return frozenset([self.held]) if self.held and self._holds else frozenset()
