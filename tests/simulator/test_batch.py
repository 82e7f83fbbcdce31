"""Frames as an edge would have got them, of a line that is made up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from historian.catalogue import canonical_tag
from historian.errors import WrongInput
from historian.frame import NS, Frame
from historian.quality import RANGE_EXCEEDED, SENSOR_FAILURE
from historian.tags import Tag
from simulator import batch as batch_module
from simulator import recorder as recorder_module
from simulator.batch import batch
from simulator.machines.upsets import Upsets
from simulator.scenarios.scenario import Scenario
from simulator.sensors import Sensor, Signal
from tests.support.made_up_run import MadeUpPlant, MadeUpRun, made_up_signals

T0_NS = 1_900_000_000 * NS
SCENARIO = Scenario("made-up", "made up", 1, 300.0)

Fault = Callable[[int, Upsets], None]


@pytest.fixture
def faults(monkeypatch: pytest.MonkeyPatch) -> list[Fault]:
    """Put a fault in to have it in the next run; the line is the made-up one."""
    found: list[Fault] = []

    def run(scenario: Scenario, *, dt_s: float = 1.0) -> MadeUpRun:
        return MadeUpRun(scenario, dt_s, found[-1] if found else None)

    monkeypatch.setattr(recorder_module, "signals_of", made_up_signals)
    monkeypatch.setattr(batch_module, "Run", run)
    return found


def _tags() -> dict[str, Tag]:
    paths = [s.path for s in made_up_signals(MadeUpPlant(1.0))]
    return {p: replace(canonical_tag(p), id=k) for k, p in enumerate(paths, start=1)}


def _of(frames: list[Frame], path: str) -> list[tuple[int, float, int]]:
    number = _tags()[path].id
    return [
        (t, v, q)
        for f in frames
        for n, t, v, q in zip(
            f.tag.tolist(), f.time_ns.tolist(), f.value.tolist(), f.quality.tolist(), strict=True
        )
        if n == number
    ]


def test_a_frame_arrives_when_its_last_sample_is_there(faults: list[Fault]) -> None:
    frames = list(batch(SCENARIO, _tags(), T0_NS, 0, 150))
    assert [f.arrival_ns for f in frames] == [T0_NS + s * NS + 160_000_000 for s in (59, 119, 149)]
    assert all(f.time_ns.max() <= f.arrival_ns for f in frames)
    assert all(np.array_equal(np.lexsort((f.time_ns, f.tag)), np.arange(len(f))) for f in frames)


def test_where_the_quality_is_bad_there_is_no_value(faults: list[Fault]) -> None:
    def dead(second: int, upsets: Upsets) -> None:
        if second >= 30:
            upsets.sensor("water.flow.pv").dead = True

    faults.append(dead)
    for time_ns, value, quality in _of(list(batch(SCENARIO, _tags(), T0_NS, 0, 60)), "water.flow.pv"):
        if (time_ns - T0_NS) // NS >= 30:
            assert np.isnan(value) and quality == SENSOR_FAILURE
        else:
            assert value > 20.0 and quality == 0


def test_a_break_that_nobody_marks_is_out_of_range_at_the_edge(
    faults: list[Fault], monkeypatch: pytest.MonkeyPatch
) -> None:
    for tells, quality in ((True, SENSOR_FAILURE), (False, RANGE_EXCEEDED)):
        sensor = Sensor(break_above=600.0, tells_break=tells)
        monkeypatch.setattr(
            recorder_module,
            "signals_of",
            lambda plant, aux=0, s=sensor: [Signal("extruder.melt.temp.pv", lambda: 1200.0, s)],
        )
        (frame,) = batch(SCENARIO, _tags(), T0_NS, 0, 5)
        assert set(frame.quality.tolist()) == {quality}
        assert np.isnan(frame.value).all() if tells else (frame.value == 1200.0).all()


def test_a_clock_that_steps_has_frames_of_a_later_epoch(faults: list[Fault]) -> None:
    def hour(second: int, upsets: Upsets) -> None:
        upsets.source("pelletizer").clock_s = 3600.0 if 90 <= second < 140 else 0.0

    faults.append(hour)
    frames = list(batch(SCENARIO, _tags(), T0_NS, 0, 180))
    assert [f.clock_epoch for f in frames] == [0, 0, 1, 0, 1, 2]
    assert [(f.arrival_ns - T0_NS) // NS for f in frames] == [59, 119, 119, 179, 179, 179]
    flow, inlet = (_tags()[p].id for p in ("water.flow.pv", "filter.inlet.pressure.pv"))
    assert {int(n) for f in frames if f.clock_epoch for n in f.tag} == {flow}
    assert flow not in frames[3].tag
    assert sum(np.count_nonzero(f.tag == inlet) for f in frames) > 160
    for frame in frames:
        assert np.all(np.diff(frame.time_ns[frame.tag == flow]) > 0)


def test_held_samples_arrive_late_and_none_is_lost(faults: list[Fault]) -> None:
    def held(second: int, upsets: Upsets) -> None:
        upsets.source("pelletizer").held = 45 <= second < 130

    sound = _of(list(batch(SCENARIO, _tags(), T0_NS, 0, 180)), "water.flow.pv")
    faults.append(held)
    frames = list(batch(SCENARIO, _tags(), T0_NS, 0, 180))
    assert _of(frames, "water.flow.pv") == sound
    flow = _tags()["water.flow.pv"].id
    assert [int(np.count_nonzero(f.tag == flow)) for f in frames][1] == 0
    late = frames[2]
    assert late.time_ns[late.tag == flow].min() < late.arrival_ns - 130 * NS


def test_fast_samples_come_in_frames_too(faults: list[Fault]) -> None:
    frames = list(batch(SCENARIO, _tags(), T0_NS, 0, 120, fast_hz=5.0))
    inlet, flow = (len(_of(frames, p)) for p in ("filter.inlet.pressure.pv", "water.flow.pv"))
    assert 575 < inlet < 596 and 108 <= flow <= 120
    times = [t for t, _, _ in _of(frames, "filter.inlet.pressure.pv")]
    assert times == sorted(set(times))
    with pytest.raises(WrongInput, match="must come every second"):
        next(batch(SCENARIO, _tags(), T0_NS, 0, 120, 2, fast_hz=5.0))
