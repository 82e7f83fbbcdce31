"""Playing a scenario: one trajectory, the same noise with and without faults, frames and truth."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from historian.errors import UnknownTag, WrongInput
from historian.frame import NS, Frame
from historian.tags import Tag
from simulator.run import Recorder, Run, batch, labels, published_tags, truth, write_truth
from simulator.scenarios.scenario import Scenario

Columns = Mapping[str, NDArray[np.float64]]

T0_NS = 1_900_000_000 * NS
OPEN_S = 14_490


def _tags(scenario: Scenario, aux_channels: int = 0) -> dict[str, Tag]:
    tags = published_tags(scenario, aux_channels=aux_channels)
    return {t.path: replace(t, id=k) for k, t in enumerate(tags, start=1)}


def _starts(columns: Columns) -> NDArray[np.int64]:
    return np.flatnonzero(np.diff(columns["filter.wiper.state"]) > 0) + 1


def _frames(scenario: Scenario, start_s: int, end_s: int, chunk_s: int = 60) -> list[Frame]:
    return list(batch(scenario, _tags(scenario), T0_NS, start_s, end_s, chunk_s=chunk_s))


def _samples(frames: list[Frame]) -> set[tuple[int, int, float]]:
    return {
        (int(t), int(n), float(v)) for f in frames for t, n, v in zip(f.tag, f.time_ns, f.value, strict=True)
    }


def test_a_seed_gives_the_same_samples_and_another_gives_others(trial_day: Scenario) -> None:
    first = _samples(_frames(trial_day, 0, 120))
    assert first == _samples(_frames(trial_day, 0, 120))
    assert first != _samples(_frames(replace(trial_day, seed=1), 0, 120))


@pytest.mark.parametrize("chunk_s", [1, 7, 600])
def test_the_cut_into_frames_changes_nothing(trial_day: Scenario, chunk_s: int) -> None:
    assert _samples(_frames(trial_day, 0, 600, chunk_s)) == _samples(_frames(trial_day, 0, 600))


def test_a_late_start_is_on_the_same_trajectory(trial_day: Scenario, day: Columns) -> None:
    recorder = Recorder(Run(trial_day))
    late = recorder.record(range(14_400, 14_460))
    for k, path in enumerate(recorder.paths):
        assert np.array_equal(late[:, k], day[path][14_400:14_460]), path


def test_a_fault_leaves_all_noise_as_it_was(day: Columns, healthy_day: Columns) -> None:
    for path, healthy in healthy_day.items():
        assert np.array_equal(day[path][: 150 * 60], healthy[: 150 * 60]), path
    # What the burnt plate does not touch is the same to the last digit, after it as before.
    untouched = [p for p in day if p.startswith(("extruder.zone", "water.flow", "room", "doser.rate"))]
    assert len(untouched) > 20
    for path in untouched:
        if not path.startswith("extruder.zone"):
            assert np.array_equal(day[path][OPEN_S:], healthy_day[path][OPEN_S:]), path
    # And where the truth differs, the noise does not: plate 1 is far from plate 5.
    difference = day["filter.plate.1.temp.pv"][OPEN_S:] - healthy_day["filter.plate.1.temp.pv"][OPEN_S:]
    assert np.abs(difference).max() < 0.45
    assert difference.std() < 0.12


def test_the_burnt_plate_falls_as_it_should(day: Columns) -> None:
    # A first-order plate that lost its hold power falls about 7 K in 5 min, 18 K in 15 min.
    temperature = day["filter.plate.5.temp.pv"]
    before = temperature[OPEN_S - 60 : OPEN_S].mean()
    assert before - temperature[OPEN_S + 300] == pytest.approx(7.2, abs=1.0)
    assert before - temperature[OPEN_S + 900] == pytest.approx(18.0, abs=1.5)
    assert np.all(day["filter.plate.5.i"][OPEN_S + 1 :] == 0.0)
    assert np.all(day["filter.plate.5.out"][OPEN_S + 330 :] == 100.0)
    neighbours = [day[f"filter.plate.{n}.out"] for n in (4, 6)]
    assert all(out[-60:].mean() - out[OPEN_S - 60 : OPEN_S].mean() > 5.0 for out in neighbours)
    opposite = day["filter.plate.1.out"]
    assert abs(opposite[-60:].mean() - opposite[OPEN_S - 60 : OPEN_S].mean()) < 1.5


def test_the_healthy_day_stays_sane(healthy_day: Columns) -> None:
    arrived = [int(np.argmax(healthy_day[f"filter.plate.{n}.temp.pv"] > 215.0)) / 60 for n in range(1, 9)]
    assert all(43.0 < minutes < 50.0 for minutes in arrived)
    assert np.all(healthy_day["filter.plate.5.temp.pv"] < 225.0)
    starts = _starts(healthy_day)
    steady = starts[starts > 110 * 60]
    by_hand = np.searchsorted(steady, 156 * 60)
    intervals = np.delete(np.diff(steady), by_hand - 1)
    assert len(intervals) > 30
    assert np.all((intervals > 150) & (intervals < 400))
    assert healthy_day["extruder.head.pressure.pv"].max() < 140.0
    assert np.all(healthy_day["extruder.enable.state"][4801:] == 1.0)
    assert healthy_day["filter.dp.calc"].max() < 48.0
    running = slice(110 * 60, 300 * 60)
    off = healthy_day["doser.rate.pv"][running] - 640.0
    assert abs(off.mean()) < 5.0
    assert np.quantile(np.abs(off), 0.95) < 40.0
    # Only while the hopper is refilled is the rate a guess.
    assert np.abs(off).max() < 120.0
    torque = healthy_day["extruder.drive.torque.pv"][running]
    assert 52.0 < torque.min() < torque.max() < 70.0


def test_one_cleaning_is_skipped_for_minutes_and_then_done_by_hand(day: Columns) -> None:
    window = slice(150 * 60, 157 * 60)
    dp = day["filter.dp.calc"]
    assert np.count_nonzero(dp[window] > 48.0) > 60
    assert day["extruder.head.pressure.pv"].max() < 0.85 * 200.0
    begun = _starts(day)
    assert not np.any((begun > 150 * 60) & (begun < 156 * 60))
    assert day["filter.wipe.trigger.state"][156 * 60 + 1] == 4.0
    assert dp[157 * 60] < 35.0


def test_the_screen_blinds_by_a_few_percent_a_cycle(day: Columns, healthy_day: Columns) -> None:
    def troughs(columns: Columns, first_s: int, last_s: int) -> NDArray[np.float64]:
        ends = np.flatnonzero(np.diff(columns["filter.wiper.state"]) < 0) + 1
        ends = ends[(ends > first_s) & (ends < last_s)]
        return np.array([np.median(columns["filter.dp.calc"][e + 3 : e + 9]) for e in ends])

    def rise_percent(columns: Columns) -> float:
        after = troughs(columns, 178 * 60, 215 * 60)
        return float(100.0 * np.polyfit(np.arange(len(after)), after, 1)[0] / np.median(after))

    assert 1.3 < rise_percent(day) < 3.0
    assert rise_percent(healthy_day) < 1.0
    last = [troughs(columns, 295 * 60, 300 * 60)[-1] for columns in (day, healthy_day)]
    assert last[0] - last[1] > 8.0
    assert last[0] < 44.0


def test_frames_carry_tag_numbers_and_the_arrival_of_their_last_sample(trial_day: Scenario) -> None:
    tags = _tags(trial_day)
    frames = list(batch(trial_day, tags, T0_NS, 60, 190))
    # The last sample of a second may be taken two standard deviations of the jitter late.
    assert [f.arrival_ns for f in frames] == [T0_NS + s * NS + 160_000_000 for s in (119, 179, 189)]
    analog = tags["filter.inlet.pressure.pv"].id
    times = frames[0].time_ns[frames[0].tag == analog]
    assert len(times) >= 58
    nominal = np.rint((times - T0_NS) / NS).astype(np.int64)
    assert nominal.min() >= 60 and nominal.max() < 120 and np.all(np.diff(nominal) >= 1)
    assert 0 < np.abs(times - T0_NS - nominal * NS).max() <= 160_000_000
    # All tags are there at the start; what holds comes again once a minute.
    assert set(frames[0].tag.tolist()) == {t.id for t in tags.values()}
    set_point = tags["filter.plate.1.temp.sp"].id
    repeats = np.concatenate([f.time_ns[f.tag == set_point] for f in frames])
    assert np.rint((repeats - T0_NS) / NS).tolist() == [60, 120, 180]
    late = list(batch(trial_day, tags, T0_NS, 60, 120, arrival_ns=lambda last_ns: last_ns + 250))
    assert late[0].arrival_ns == T0_NS + 119 * NS + 250


def test_a_longer_period_thins_the_samples(trial_day: Scenario) -> None:
    tags = _tags(trial_day)
    thin = _samples(list(batch(trial_day, tags, T0_NS, 0, 120, period_s=5)))
    held = {t.id for t in tags.values() if t.holds}
    full = {s for s in _samples(_frames(trial_day, 0, 120)) if round((s[1] - T0_NS) / NS) % 5 == 0}
    assert {s for s in thin if s[0] not in held} == {s for s in full if s[0] not in held}


def test_made_up_channels_change_every_second(trial_day: Scenario) -> None:
    count = 200 - len(published_tags(trial_day))
    tags = _tags(trial_day, count)
    assert len(tags) == 200
    (frame,) = batch(trial_day, tags, T0_NS, 0, 60, aux_channels=count)
    values = frame.value[frame.tag == tags[f"aux.channel.{count}.pv"].id]
    assert len(values) == 60
    assert np.all(np.diff(values) != 0.0)


def test_missing_tags_and_odd_periods_are_refused(trial_day: Scenario) -> None:
    tags = _tags(trial_day)
    tags.pop("room.temp.pv")
    with pytest.raises(UnknownTag, match=r"room\.temp\.pv"):
        next(batch(trial_day, tags, T0_NS))
    with pytest.raises(WrongInput, match="whole seconds"):
        next(batch(trial_day, _tags(trial_day), T0_NS, period_s=0))


def test_the_operator_turns_set_points_at_their_time(day: Columns) -> None:
    rate = day["doser.rate.sp"]
    assert (rate[4804], rate[4805], rate[88 * 60]) == (0.0, 400.0, 400.0)
    assert rate[105 * 60] == 640.0
    assert np.all(np.diff(rate[88 * 60 : 105 * 60 + 1]) >= 0.0)
    zone = day["extruder.zone.3.temp.sp"]
    assert (zone[125 * 60 - 1], zone[125 * 60]) == (205.0, 209.0)


def test_a_run_cannot_go_back(trial_day: Scenario) -> None:
    run = Run(trial_day)
    run.advance(10)
    with pytest.raises(WrongInput, match="cannot go back"):
        run.advance(9)


def test_the_truth_names_each_fault_with_its_times(trial_day: Scenario, day: Columns, tmp_path: Path) -> None:
    file = tmp_path / "truth.json"
    write_truth(file, trial_day, T0_NS)
    entries = {entry["id"]: entry for entry in json.loads(file.read_text(encoding="utf-8"))}
    assert list(entries) == ["skipped-cleaning", "blinding", "plate-5"]
    plate = entries["plate-5"]
    assert plate["fault"] == "plate_open"
    assert plate["tags"] == ["filter.plate.5.temp.pv", "filter.plate.5.out", "filter.plate.5.i"]
    assert plate["onset_ns"] == T0_NS + OPEN_S * NS
    assert plate["end_ns"] is None
    # The heater is switched: its current is missed in the on part of a period of ten seconds.
    assert 0 <= plate["first_visible_ns"] - T0_NS - OPEN_S * NS <= 10 * NS
    assert np.all(day["filter.plate.5.i"][OPEN_S + 1 :] == 0.0)
    skipped = entries["skipped-cleaning"]
    assert skipped["end_ns"] == T0_NS + (156 * 60 + 5) * NS
    seen_s = (skipped["first_visible_ns"] - T0_NS) // NS
    assert day["filter.dp.calc"][seen_s - 3 : seen_s + 3].mean() == pytest.approx(45.3, abs=0.6)
    blinding = entries["blinding"]
    wiped = _starts(day)
    # A single cleaning leaves too little to be seen: some have to pass before it stands out of the noise.
    later = (blinding["first_visible_ns"] - T0_NS) // NS
    assert wiped[wiped > 175 * 60][0] < later < wiped[wiped > 175 * 60][8]
    assert truth(trial_day.without_faults(), T0_NS) == []


def test_labels_have_their_times(trial_day: Scenario) -> None:
    steady = next(x for x in labels(trial_day, T0_NS) if x["id"] == "steady")
    assert (steady["start_ns"], steady["end_ns"]) == (T0_NS + 6600 * NS, T0_NS + 9000 * NS)


def test_without_scatter_all_plates_are_alike_and_nothing_is_noisy(trial_day: Scenario) -> None:
    recorder = Recorder(Run(trial_day.without_faults().without_scatter()))
    shown = recorder.record(range(9000, 9010))
    plates = [shown[:, recorder.paths.index(f"filter.plate.{n}.temp.pv")] for n in (1, 5)]
    assert np.allclose(plates[0], plates[1], atol=1e-9)
    assert np.ptp(plates[0]) < 0.01
