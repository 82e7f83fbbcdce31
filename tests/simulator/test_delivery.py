"""What comes when: what holds, clocks that go off, sources that wait or lose."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from historian.errors import WrongInput
from historian.frame import NS
from simulator import recorder as recorder_module
from simulator.delivery import Delivery, Samples
from simulator.machines.upsets import Upsets
from simulator.recorder import Recorder
from simulator.sensors import source_of
from tests.support.made_up_run import made_up_recorder, made_up_signals

Fault = Callable[[int, Upsets], None]
Row = tuple[str, int, float, int]


@pytest.fixture(autouse=True)
def _made_up_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recorder_module, "signals_of", made_up_signals)


def _delivered(
    fault: Fault | None = None,
    seconds: int = 120,
    cuts: tuple[int, ...] = (),
    *,
    clocks: dict[str, float] | None = None,
    repeat_s: int | None = None,
    scatter: bool = True,
) -> tuple[Recorder, list[Samples]]:
    recorder = made_up_recorder(fault=fault, clocks=clocks, scatter=scatter)
    delivery = Delivery(recorder.held, recorder.sources, repeat_s=repeat_s, clocks=recorder.clocks)
    edges = [0, *cuts, seconds]
    return recorder, [delivery.of(recorder.take(range(a, b))) for a, b in pairwise(edges)]


def _rows(recorder: Recorder, parts: list[Samples]) -> list[Row]:
    return [
        (recorder.paths[k], t, v, e)
        for p in parts
        for k, t, v, e in zip(
            p.column.tolist(), p.time_ns.tolist(), p.value.tolist(), p.epoch.tolist(), strict=True
        )
    ]


def _source(name: str, first: int, end: int, **upset: object) -> Fault:
    def fault(second: int, upsets: Upsets) -> None:
        if first <= second < end:
            source = upsets.source(name)
            for key, value in upset.items():
                setattr(source, key, value)

    return fault


def test_what_holds_comes_when_it_changes_and_once_a_minute() -> None:
    def times(repeat_s: int | None) -> list[int]:
        rows = _rows(*_delivered(seconds=200, cuts=(7, 8, 130), repeat_s=repeat_s))
        return [t // NS for path, t, _, _ in rows if path == "filter.wiper.state"]

    assert times(None) == [0, 50, 100, 150]
    assert times(60) == [0, 50, 60, 100, 120, 150, 180]


def test_missing_samples_do_not_come() -> None:
    recorder, (samples,) = _delivered(seconds=300)
    counts = {p: int(np.count_nonzero(samples.column == k)) for k, p in enumerate(recorder.paths)}
    assert 265 < counts["water.flow.pv"] < 300
    assert counts["filter.dp.calc"] == 300


@given(
    cuts=st.sets(st.integers(1, 119), max_size=8).map(sorted).map(tuple),
    first=st.integers(0, 100),
    length=st.integers(1, 60),
)
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_held_source_gives_everything_later_with_its_own_times(
    cuts: tuple[int, ...], first: int, length: int
) -> None:
    end = min(first + length, 119)
    sound = _rows(*_delivered())
    recorder, parts = _delivered(_source("filter", first, end, held=True), cuts=cuts)
    assert sorted(_rows(recorder, parts)) == sorted(sound)
    edges = [0, *cuts, 120]
    for a, b, part in zip(edges[:-1], edges[1:], parts, strict=True):
        of_filter = np.array([source_of(p) == "filter" for p in recorder.paths])[part.column]
        seconds = part.time_ns // NS
        # While it waits nothing comes; afterwards what was before the stretch does.
        if first <= a and b <= end:
            assert not of_filter.any()
        assert np.all(seconds[~of_filter] >= a)
        if first < a < end < b and first not in edges:
            assert seconds[of_filter].min() <= first


def test_samples_are_sorted_by_time_within_a_tag_after_a_hold() -> None:
    recorder, parts = _delivered(_source("filter", 10, 50, held=True), cuts=(20, 60))
    inlet = recorder.paths.index("filter.inlet.pressure.pv")
    times = [p.time_ns[p.column == inlet] for p in parts]
    assert times[0].max() < 10 * NS
    assert times[1].min() < 11 * NS and np.all(np.diff(times[1]) > 0)
    assert np.all(np.diff(parts[1].column) >= 0)


def test_a_source_that_is_still_held_keeps_its_samples() -> None:
    recorder, (samples,) = _delivered(_source("line", 30, 999, held=True))
    room = samples.time_ns[samples.column == recorder.paths.index("room.temp.pv")]
    assert room.max() < 30 * NS


def test_a_lost_source_never_gives_what_it_lost() -> None:
    sound = _rows(*_delivered())
    lossy = _rows(*_delivered(_source("filter", 30, 60, lost=True), cuts=(45,)))
    gone = set(sound) - set(lossy)
    assert set(lossy) < set(sound)
    assert gone == {r for r in sound if source_of(r[0]) == "filter" and 30 <= r[1] // NS < 60}


def test_a_clock_that_steps_moves_times_and_begins_an_epoch() -> None:
    sound = _rows(*_delivered())
    moved = _rows(*_delivered(_source("pelletizer", 40, 80, clock_s=3600.0), cuts=(33, 60, 80)))
    flow = [r for r in moved if r[0] == "water.flow.pv"]
    expected = [
        (p, t + 3600 * NS * (40 <= t // NS < 80), v, (t // NS >= 40) + (t // NS >= 80))
        for p, t, v, _ in sound
        if p == "water.flow.pv"
    ]
    assert sorted(flow, key=lambda r: (r[3], r[1])) == expected
    assert [r for r in moved if r[0] != "water.flow.pv"] != []
    assert all(r in sound for r in moved if r[0] != "water.flow.pv")


def test_a_clock_that_creeps_is_no_step() -> None:
    def creep(second: int, upsets: Upsets) -> None:
        upsets.source("pelletizer").clock_s = 0.5 * second

    recorder, (samples,) = _delivered(creep)
    assert not samples.epoch.any()
    flow = samples.time_ns[samples.column == recorder.paths.index("water.flow.pv")]
    assert flow[-1] > 175 * NS


def test_a_clock_that_is_off_from_the_start_is_no_step() -> None:
    recorder, (samples,) = _delivered(clocks={"pelletizer": 7.2}, scatter=False)
    flow = samples.time_ns[samples.column == recorder.paths.index("water.flow.pv")]
    assert flow[:2].tolist() == [7_200_000_000, 8_200_000_000]
    assert not samples.epoch.any()
    room = samples.time_ns[samples.column == recorder.paths.index("room.temp.pv")]
    assert room[0] == 0


def test_a_source_that_the_line_does_not_have_is_refused() -> None:
    with pytest.raises(WrongInput, match="no source 'press'"):
        _delivered(_source("press", 3, 9, held=True))
    with pytest.raises(WrongInput, match="no source 'press'"):
        _delivered(clocks={"press": 1.0})
