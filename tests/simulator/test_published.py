from __future__ import annotations

import pytest

from historian.frame import NS
from historian.quality import SENSOR_FAILURE
from simulator import recorder as recorder_module
from simulator.delivery import Delivery
from simulator.machines.upsets import Upsets
from simulator.published import Publication, Sample
from tests.support.made_up_run import Fault, made_up_recorder, made_up_signals

T0_NS = 1_900_000_000 * NS


@pytest.fixture(autouse=True)
def _made_up_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recorder_module, "signals_of", made_up_signals)


def _published(fault: Fault | None = None, seconds: int = 60, **run: object) -> list[list[Sample]]:
    publication = Publication(made_up_recorder(fault=fault, **run), T0_NS)
    return [publication.at(second) for second in range(seconds)]


def test_a_second_gives_its_samples_in_order_of_time() -> None:
    seconds = _published()
    for second, samples in enumerate(seconds):
        offsets = [s.time_ns - T0_NS - second * NS for s in samples]
        assert offsets == sorted(offsets)
        assert offsets[0] >= 0 and offsets[-1] <= 160_000_000
        assert all(offset % 1_000_000 == 0 for offset in offsets)
    assert {s.path for s in seconds[0]} >= {"filter.wiper.state", "filter.dp.calc"}
    # What holds comes only when it changes.
    wiper = [k for k, samples in enumerate(seconds) if any(s.path == "filter.wiper.state" for s in samples)]
    assert wiper == [0, 50]


def test_it_is_what_the_batch_gives() -> None:
    recorder = made_up_recorder()
    batch = Delivery(recorder.held, recorder.sources).of(recorder.take(range(60)))
    expected = sorted(
        (T0_NS + t, recorder.paths[k], v)
        for k, t, v in zip(batch.column.tolist(), batch.time_ns.tolist(), batch.value.tolist(), strict=True)
    )
    assert sorted((s.time_ns, s.path, s.value) for samples in _published() for s in samples) == expected


def test_changed_says_whether_it_differs_from_what_was_published_before() -> None:
    before: dict[str, tuple[float, int]] = {}
    for samples in _published(seconds=120):
        for sample in samples:
            assert sample.changed == (before.get(sample.path) != (sample.value, sample.quality))
            before[sample.path] = sample.value, sample.quality


def test_a_dead_sensor_is_published_bad_with_a_number() -> None:
    def dead(second: int, upsets: Upsets) -> None:
        upsets.sensor("water.flow.pv").dead = second >= 10

    flow = {
        second: sample
        for second, samples in enumerate(_published(dead, 20))
        for sample in samples
        if sample.path == "water.flow.pv"
    }
    assert {s.quality for k, s in flow.items() if k >= 10} == {SENSOR_FAILURE}
    assert all(s.value == 0.0 for k, s in flow.items() if k >= 10)
    assert {s.quality for k, s in flow.items() if k < 10} == {0}


def test_what_was_held_is_published_at_once_when_it_is_let_go() -> None:
    def held(second: int, upsets: Upsets) -> None:
        upsets.source("line").held = 5 <= second < 15

    seconds = _published(held, 20, scatter=False)
    rooms = [[(s.time_ns - T0_NS) // NS for s in samples if s.path == "room.temp.pv"] for samples in seconds]
    assert rooms[4] == [4] and rooms[5:15] == [[]] * 10
    assert rooms[15] == list(range(5, 16)) and rooms[16] == [16]


def test_a_wrong_clock_stamps_what_is_published() -> None:
    def ahead(second: int, upsets: Upsets) -> None:
        upsets.source("line").clock_s = 7.2

    for second, samples in enumerate(_published(ahead, 3, scatter=False)):
        times = {s.path: s.time_ns - T0_NS - second * NS for s in samples}
        assert times["room.temp.pv"] == 7_200_000_000
        assert times["filter.dp.calc"] == 0
