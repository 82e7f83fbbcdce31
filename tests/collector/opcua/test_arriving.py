"""What values become on their way to the inbox: times, qualities, first values, holes."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

import pytest
from asyncua import ua

from collector import Inbox, SourceMapping, TagMapping, tags_of
from collector.gaps.backfill import First
from collector.gaps.marks import Gap
from collector.opcua.arriving import Arriving
from collector.opcua.items import Item
from collector.opcua.times import ns_of
from collector.opcua.values import columns_of
from collector.reading.deadband import Deadband
from collector.reading.mapping import Reading
from historian import NS, Tag
from historian.quality import GOOD, NO_DATA, SENSOR_FAILURE
from tests.collector.conftest import rows

T = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
T_NS = ns_of(T)
MS = 1_000_000
MAPPING = SourceMapping("plc", "opc.tcp://x", False, (TagMapping("own.a.pv", "i=1", "1"),))
TAG = Tag("own.a.pv", "1", id=1)
OVERFLOW = 0x0000_0480


class Caught(Inbox):
    """An inbox that shows what was put in one by one."""

    def __init__(self) -> None:
        super().__init__([MAPPING], {t.path: TAG for t in tags_of([MAPPING])})
        self.singles: list[tuple[int, float, int, int]] = []

    def put(
        self, source: str, tag_id: int, time_ns: int, value: float, quality: int, confirmed_ns: int = 0
    ) -> None:
        self.singles.append(((time_ns - T_NS) // MS, value, quality, confirmed_ns))
        super().put(source, tag_id, time_ns, value, quality, confirmed_ns)


def arriving(clock: str = "wall", deadband: float = 0.0) -> tuple[Arriving, Caught]:
    inbox = Caught()
    band = Deadband(deadband) if deadband else None
    made = Arriving(
        "plc", inbox, clock, [Item(Reading(MAPPING.tags[0], TAG), ua.NodeId(1, 2), deadband=band)]
    )  # type: ignore[arg-type]
    made.started_ns = T_NS
    return made, inbox


def value(
    x: object, *, source_s: float | None = 0.0, server_s: float | None = 1.0, status: int = 0
) -> ua.DataValue:
    kind = ua.VariantType.String if isinstance(x, str) else ua.VariantType.Double
    return ua.DataValue(
        ua.Variant(x, kind) if x is not None else None,
        ua.StatusCode(ua.UInt32(status)),
        SourceTimestamp=None if source_s is None else T + timedelta(seconds=source_s),
        ServerTimestamp=None if server_s is None else T + timedelta(seconds=server_s),
    )


def take(to: Arriving, *values: ua.DataValue, handle: int = 1, published: datetime | None = None) -> None:
    to.take(columns_of([handle] * len(values), values), published or T + timedelta(seconds=9))


def kept(inbox: Inbox) -> list[tuple[float, float | None, int]]:
    return [
        ((t - T_NS) / NS, None if math.isnan(v) else v, q)
        for frame in inbox.cut(T_NS + 20 * NS)
        for _, t, v, q in rows(frame)
    ]


def test_the_source_time_counts_then_the_servers_then_that_of_the_message() -> None:
    to, inbox = arriving()
    take(to, value(1.0), value(2.0, source_s=None), value(3.0, source_s=None, server_s=None))
    assert [t for t, *_ in kept(inbox)] == [0, 1, 9]
    assert (to.unstamped, to.samples, to.received) == (2, 3, 3)


def test_a_value_without_any_time_is_left_out_and_counted() -> None:
    to, inbox = arriving()
    take(to, value(1.0, source_s=None, server_s=None), value(2.0), published=datetime(1601, 1, 1, tzinfo=UTC))
    assert [v for _, v, _ in kept(inbox)] == [2.0]
    assert to.rejected == 1


def test_bad_values_arrive_as_bad_samples() -> None:
    to, inbox = arriving()
    take(
        to,
        value(None, status=SENSOR_FAILURE),
        value(5.0, source_s=1, status=0x8031_0000),
        value("x", source_s=2),
    )
    assert kept(inbox) == [(0, None, SENSOR_FAILURE), (1, None, 0x8031_0000), (2, None, 0x8074_0000)]
    assert [i.path for i in to.newly_mended()] == ["own.a.pv"]
    assert to.newly_mended() == []


def test_handles_that_were_not_given_out_are_passed_over() -> None:
    to, inbox = arriving()
    take(to, value(1.0), handle=2)
    take(to, value(1.0), handle=0)
    assert kept(inbox) == [] and to.received == 0


@pytest.mark.parametrize(("clock", "confirmed_ns"), [("wall", T_NS + NS), ("own", 1)])
def test_the_first_value_bears_when_the_server_stood_by_it(clock: str, confirmed_ns: int) -> None:
    to, inbox = arriving(clock)
    take(to, value(1.0, source_s=-500), value(2.0, source_s=2))
    assert inbox.singles == [(-500_000, 1.0, GOOD, confirmed_ns)]
    assert to.firsts == {1: First(T_NS - 500 * NS, 1.0, GOOD)}
    assert [v for _, v, _ in kept(inbox)] == [1.0, 2.0]


def test_small_changes_are_left_out_and_the_source_counts_as_alive() -> None:
    to, inbox = arriving(deadband=0.5)
    take(to, *(value(x, source_s=n) for n, x in enumerate((10.0, 10.2, 10.4, 10.6, 10.3))))
    assert [v for _, v, _ in kept(inbox)] == [10.0, 10.6]
    assert (to.samples, to.received) == (2, 5)


def test_an_overflow_leaves_a_mark_before_the_sample_that_bears_it() -> None:
    to, inbox = arriving()
    take(to, value(1.0), value(2.0, source_s=1), value(9.0, source_s=5, status=OVERFLOW))
    assert kept(inbox) == [(0, 1.0, GOOD), (1, 2.0, GOOD), (1.001, None, NO_DATA), (5, 9.0, OVERFLOW)]
    assert to.overflows == 1
    ((gap, first),) = to.holes
    assert gap == Gap(1, T_NS + NS, 2.0, GOOD, T_NS + NS + MS, T_NS + 5 * NS)
    assert first == First(T_NS + 5 * NS, 9.0, OVERFLOW)


def test_an_overflow_at_the_head_of_a_message_counts_from_the_one_before() -> None:
    to, inbox = arriving()
    take(to, value(1.0))
    take(to, value(2.0, source_s=3, status=OVERFLOW), value(3.0, source_s=4, status=0x0000_0400))
    assert [t for t, _, q in kept(inbox) if q == NO_DATA] == [0.001]
    assert to.overflows == 1


def test_an_overflow_in_the_very_first_value_has_nothing_before_it() -> None:
    to, inbox = arriving()
    take(to, value(2.0, status=OVERFLOW))
    assert to.overflows == 1 and not to.holes
    assert [q for *_, q in kept(inbox)] == [OVERFLOW]
