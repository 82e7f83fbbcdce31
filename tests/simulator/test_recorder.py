from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from historian.errors import WrongInput
from historian.frame import NS
from simulator import recorder as recorder_module
from simulator.machines.upsets import Upsets
from simulator.recorder import Recorder, Stretch
from tests.support.made_up_run import made_up_recorder, made_up_run, made_up_signals


@pytest.fixture(autouse=True)
def _made_up_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recorder_module, "signals_of", made_up_signals)


def _bytes(stretches: list[Stretch]) -> list[bytes]:
    """The lots of stretches that follow one another, as bytes."""
    found = []
    for lots in zip(*(s.lots for s in stretches), strict=True):
        found.append(np.concatenate([lot.time_ns for lot in lots]).tobytes())
        for name in ("value", "quality", "present", "late_ms"):
            found.append(np.concatenate([getattr(lot.shown, name) for lot in lots]).tobytes())
    return found


def _fault(second: int, upsets: Upsets) -> None:
    if 40 <= second < 90:
        upsets.sensor("extruder.melt.temp.pv").frozen = True
        upsets.sensor("filter.inlet.pressure.pv").lag_s = 10.0
        upsets.sensor("water.flow.pv").offset = 0.1 * (second - 40)


@given(
    cuts=st.sets(st.integers(1, 129), max_size=6).map(sorted),
    fast_hz=st.sampled_from([None, 5.0, 2.5]),
    scatter=st.booleans(),
)
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_cut_of_a_run_gives_the_same_bytes(cuts: list[int], fast_hz: float | None, scatter: bool) -> None:
    dt_s = 1.0 if fast_hz is None else 0.2

    def recorder() -> Recorder:
        return made_up_recorder(fast_hz, dt_s=dt_s, scatter=scatter, fault=_fault)

    whole = recorder().take(range(130))
    in_pieces = recorder()
    edges = [0, *cuts, 130]
    pieces = [in_pieces.take(range(a, b)) for a, b in pairwise(edges)]
    assert _bytes(pieces) == _bytes([whole])


def test_a_late_start_shows_what_a_full_run_does() -> None:
    whole = made_up_recorder(fault=_fault).take(range(120))
    late = made_up_recorder(fault=_fault)
    late.advance(55)
    assert late.run.second == 54
    assert np.array_equal(late.take(range(60, 120)).lots[0].shown.value, whole.lots[0].shown.value[60:])


def test_seconds_left_out_change_nothing_of_the_others() -> None:
    whole = made_up_recorder(fault=_fault).take(range(120))
    thin = made_up_recorder(fault=_fault).take(range(3, 120, 7))
    assert thin.seconds == tuple(range(3, 120, 7))
    assert np.array_equal(thin.lots[0].shown.value, whole.lots[0].shown.value[3::7])
    assert np.array_equal(thin.lots[0].time_ns, np.arange(3, 120, 7) * NS)


@pytest.mark.parametrize(("fast_hz", "period_ms"), [(5.0, 200), (2.5, 400)])
def test_fast_signals_come_at_their_rate_and_the_others_once_a_second(fast_hz: float, period_ms: int) -> None:
    recorder = made_up_recorder(fast_hz, dt_s=0.2)
    slow, fast = recorder.take(range(0, 10)).lots
    assert {recorder.paths[k] for k in fast.columns} == {
        "filter.inlet.pressure.pv",
        "filter.outlet.pressure.pv",
        "filter.dp.calc",
    }
    assert sorted([*slow.columns, *fast.columns]) == list(range(len(recorder.paths)))
    assert slow.time_ns.tolist() == [s * NS for s in range(10)]
    assert fast.time_ns[0] == 0 and fast.time_ns[-1] <= 9 * NS
    assert set(np.diff(fast.time_ns).tolist()) == {period_ms * 1_000_000}
    # A sample belongs to the whole second that it is published with.
    assert np.array_equal(fast.second, -(-fast.time_ns // NS))
    again = made_up_recorder(fast_hz, dt_s=0.2)
    values = again.record(range(10))
    assert np.array_equal(values[:, slow.columns], slow.shown.value)
    newest = [np.flatnonzero(fast.second == second)[-1] for second in range(10)]
    assert np.array_equal(values[:, fast.columns], fast.shown.value[newest])


def test_fast_samples_keep_their_order_in_spite_of_jitter() -> None:
    _, fast = made_up_recorder(5.0, dt_s=0.2).take(range(300)).lots
    times = fast.time_ns[:, None] + fast.shown.late_ms * 1_000_000
    assert np.all(np.diff(times, axis=0) > 0)
    assert fast.shown.late_ms.max() > 100


def test_a_rate_that_the_plant_does_not_give_is_refused() -> None:
    for fast_hz, dt_s in ((5.0, 1.0), (3.0, 0.2), (20.0, 0.2)):
        with pytest.raises(WrongInput, match=r"5 or 2\.5 Hz"):
            made_up_recorder(fast_hz, dt_s=dt_s)


def test_seconds_that_lie_behind_are_refused() -> None:
    recorder = made_up_recorder()
    recorder.take([10])
    for seconds in ([10], [9], [12, 12], [13, 11], []):
        with pytest.raises(WrongInput, match="at second 11"):
            recorder.take(seconds)


def test_a_run_that_has_gone_on_by_itself_is_read_from_there() -> None:
    run = made_up_run()
    recorder = Recorder(run)
    run.advance(30)
    shown = recorder.take([30, 31]).lots[0].shown
    whole = Recorder(made_up_run()).take([30, 31]).lots[0].shown
    wiper = recorder.paths.index("filter.wiper.state")
    assert np.array_equal(shown.late_ms, whole.late_ms)
    assert np.array_equal(shown.value[:, wiper], whole.value[:, wiper])


def test_the_scenario_says_how_its_sensors_differ() -> None:
    def recorder(**variation: float) -> Recorder:
        run = made_up_run()
        run.scenario = replace(run.scenario, variation=variation)
        return Recorder(run)

    usual = recorder().take(range(200)).lots[0].shown
    varied = recorder(
        noise=1.4, **{"sampling.jitter_s": 0.15, "sampling.missing_share": 0.2, "sampling.period_s": 2.0}
    )
    shown = varied.take(range(200)).lots[0].shown
    room, flow = (varied.paths.index(p) for p in ("room.temp.pv", "water.flow.pv"))
    assert shown.late_ms.max() > 250 and varied.latest_ms == 300
    assert not shown.present[1::2, room].any()
    assert 25 <= np.count_nonzero(~shown.present[:, flow]) <= 60
    spread = [np.diff(s.value[:, flow]).std() for s in (usual, shown)]
    assert spread[1] == pytest.approx(1.4 * spread[0], rel=0.1)


def test_upsets_of_sources_are_told_for_each_second() -> None:
    def fault(second: int, upsets: Upsets) -> None:
        if second >= 2:
            upsets.source("filter").clock_s = float(second)

    stretch = made_up_recorder(fault=fault).take(range(4))
    assert [{k: u.clock_s for k, u in s.items()} for s in stretch.sources] == [
        {},
        {},
        {"filter": 2.0},
        {"filter": 3.0},
    ]
