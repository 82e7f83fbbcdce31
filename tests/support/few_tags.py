"""A node of four tags, and samples of them, for tests."""

from __future__ import annotations

from historian.frame import NS
from historian.quality import GOOD
from historian.tags import Tag, TagKind
from simulator.published import Sample

T0_NS = 1_900_000_000 * NS
TAGS = (
    Tag("filter.inlet.pressure.pv", "bar"),
    Tag("filter.wiper.state", "1", TagKind.CODE, codes={0: "parked", 1: "wiping"}),
    Tag("filter.wiper.park.state", "1", TagKind.BOOLEAN),
    Tag("line.power.pv", "kW"),
)


def sample(column: int, value: float, quality: int = GOOD, time_ns: int = T0_NS) -> Sample:
    return Sample(TAGS[column].path, column, time_ns, value, quality, True)
