"""The bar of a clock step: two seconds are unrest, a nanosecond more is a step, whichever way it goes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.clocks.arrival import STEP_NS
from collector.clocks.steps import ClockWatch
from collector.keeping.inbox import Inbox
from collector.reading.mapping import SourceMapping, TagMapping, tags_of
from historian import NS, Event, Frame
from historian.quality import GOOD
from historian.tags import Tag

T = 1_800_000_000 * NS
SOURCE = SourceMapping("plc", "opc.tcp://x", False, (TagMapping("plc.a.pv", "i=1", "1"),))


class Line:
    """One source with one tag, a batch a second."""

    def __init__(self, *, epoch: int = 0) -> None:
        (tag,) = tags_of([SOURCE])
        known = {tag.path: Tag.from_json(tag.to_json(), id=1)}
        self.inbox = Inbox([SOURCE], known, epochs={"plc": epoch})
        self.told: list[Event] = []
        self.second = 0

    def sends(self, offset_ns: int, *, batches: int = 1, lag_ns: int = 0) -> list[Frame]:
        """Batches whose source clock is off by so much; gives their frames."""
        frames = []
        for _ in range(batches):
            now_ns = T + self.second * NS
            self.inbox.put("plc", 1, now_ns + offset_ns - lag_ns, float(self.second), GOOD)
            frames += self.inbox.cut(now_ns)
            self.told += self.inbox.events()
            self.second += 1
        return frames

    def steps(self) -> list[float]:
        return [e.data["step_s"] for e in self.told if e.kind == "clock-stepped"]


def test_the_bar_is_two_seconds() -> None:
    assert STEP_NS == 2_000_000_000


@pytest.mark.parametrize(("beyond_ns", "epoch"), [(0, 0), (1, 1)])
def test_the_bar_forward(beyond_ns: int, epoch: int) -> None:
    line = Line()
    line.sends(0, batches=10)
    frames = line.sends(STEP_NS + beyond_ns, batches=10)
    assert [f.clock_epoch for f in frames] == [epoch] * 10
    assert line.steps() == [pytest.approx(2.0)] * epoch


@pytest.mark.parametrize(("beyond_ns", "epoch"), [(0, 0), (1, 1)])
def test_the_bar_backward(beyond_ns: int, epoch: int) -> None:
    """Against the newest time of the tag itself: a second has passed since."""
    line = Line()
    line.sends(0, batches=10)
    frames = line.sends(-STEP_NS - NS - beyond_ns, batches=10)
    assert [f.clock_epoch for f in frames] == [epoch] * 10
    assert line.steps() == [pytest.approx(-2.0)] * epoch


def test_each_step_begins_an_epoch_of_its_own() -> None:
    line = Line(epoch=7)
    offsets_s = [0, 4, 0, -600, 0, 3, -60]
    found = [{f.clock_epoch for f in line.sends(s * NS, batches=10)} for s in offsets_s]
    assert found == [{7}, {8}, {9}, {10}, {11}, {12}, {13}]
    assert len(line.steps()) == 6


def test_a_clock_that_runs_a_little_fast_never_steps() -> None:
    """Four seconds ahead in the end: far more than two, but never at once."""
    line = Line()
    for k in range(9):
        line.sends(k * NS // 2, batches=130)
    assert line.told == []


@given(st.lists(st.integers(0, 30 * NS), min_size=1, max_size=60))
def test_lateness_alone_is_never_a_step(lags_ns: list[int]) -> None:
    watch = ClockWatch()
    for _ in range(3):
        assert watch.batch(T, T) == 0
    for k, lag_ns in enumerate(lags_ns):
        assert watch.batch(T + k * NS - lag_ns, T + k * NS) == 0


@given(st.integers(1, 10**15), st.lists(st.integers(0, NS), min_size=3, max_size=100))
def test_every_step_forward_beyond_the_bar_is_seen_at_once_and_once(step_ns: int, lags_ns: list[int]) -> None:
    """A delay of up to a second hides none, and none is told twice."""
    watch = ClockWatch()
    for k, lag_ns in enumerate(lags_ns):
        assert watch.batch(T + k * NS - lag_ns, T + k * NS) == 0
    least_ns = min(lags_ns)
    step_ns += STEP_NS
    assert watch.batch(T + step_ns - least_ns, T) == step_ns
    assert all(watch.batch(T + step_ns - lag_ns, T) == 0 for lag_ns in [least_ns, *sorted(lags_ns)])
