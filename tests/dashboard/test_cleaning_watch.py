"""Following the cleanings, and when the next one is due."""

from __future__ import annotations

import numpy as np
import pytest

from dashboard.cleaning_watch import CleaningWatch, Due, cycles_between, difference
from historian.catalogue import canonical_tag
from historian.embedded.store import EmbeddedStore
from historian.frame import NS, Frame, Series
from rules.line import MeltFilter

T0 = 1_777_874_400 * NS
PERIOD_S, WIPE_S, TRIGGER_BAR, TROUGH_BAR = 200, 20, 45.0, 25.0
FACTS = MeltFilter(plates=8, trigger_dp_bar=TRIGGER_BAR, trigger_held_s=4.0, max_interval_s=540.0)
RISE_BAR_PER_S = (TRIGGER_BAR - TROUGH_BAR) / (PERIOD_S - WIPE_S)


@pytest.fixture
def store(tmp_path):  # type: ignore[no-untyped-def]
    made = EmbeddedStore.open(tmp_path)
    made.register([canonical_tag(p) for p in ("filter.dp.calc", "filter.wiper.state")])
    yield made
    made.close()


def saw_tooth(store: EmbeddedStore, start_s: int, end_s: int, creep_bar: float = 0.0) -> None:
    """Pressure that rises along a straight line and falls within each cleaning."""
    second = np.arange(start_s, end_s)
    phase, cycle = second % PERIOD_S, second // PERIOD_S
    trough = TROUGH_BAR + creep_bar * cycle
    rising = trough + RISE_BAR_PER_S * phase
    wiping = phase >= PERIOD_S - WIPE_S
    dp = np.where(wiping, TRIGGER_BAR - (TRIGGER_BAR - trough) * (phase - PERIOD_S + WIPE_S) / WIPE_S, rising)
    tags = store.tags()
    times = T0 + second.astype(np.int64) * NS
    store.append(
        Frame.of(
            np.repeat([tags["filter.dp.calc"].id, tags["filter.wiper.state"].id], len(second)),
            np.tile(times, 2),
            np.concatenate([dp, wiping.astype(float)]),
            np.zeros(2 * len(second), np.uint32),
            arrival_ns=T0 + end_s * NS,
        )
    )


def test_following_in_steps_finds_what_one_look_finds(store: EmbeddedStore) -> None:
    saw_tooth(store, 0, 4000)
    watch = CleaningWatch()
    for end_s in range(100, 4001, 37):
        watch.follow(store, T0 + end_s * NS)
    watch.follow(store, T0 + 4000 * NS)
    whole = [c for c in cycles_between(store, T0, T0 + 4000 * NS) if c.complete]
    assert len(watch.cycles) == 12
    assert [c.start_ns for c in watch.cycles] == [c.start_ns for c in whole[-12:]]
    assert watch.cycles[-1].trough_bar == pytest.approx(TROUGH_BAR + RISE_BAR_PER_S * 5.5, abs=0.3)


def test_the_next_cleaning_is_told_by_the_rise(store: EmbeddedStore) -> None:
    saw_tooth(store, 0, 1900)  # 100 s into a cycle, 80 s before its end
    watch = CleaningWatch()
    watch.follow(store, T0 + 1900 * NS)
    due = watch.due(FACTS, T0 + 1900 * NS)
    assert due is not None
    assert due.because == "load"
    assert due.after_s == pytest.approx(80 + 4, abs=4)


def test_before_the_rise_is_known_the_usual_time_is_told(store: EmbeddedStore) -> None:
    saw_tooth(store, 0, 1808)
    watch = CleaningWatch()
    watch.follow(store, T0 + 1810 * NS)
    due = watch.due(FACTS, T0 + 1810 * NS)
    assert due is not None
    assert due.because == "habit"
    assert due.after_s == pytest.approx(1780 + PERIOD_S - 1810, abs=1)


def test_the_clock_tells_when_nothing_else_does(store: EmbeddedStore) -> None:
    saw_tooth(store, 0, 420)
    watch = CleaningWatch()
    watch.follow(store, T0 + 420 * NS)
    clock_only = MeltFilter(plates=8, max_interval_s=540.0)
    assert watch.due(clock_only, T0 + 420 * NS) == Due(540.0 - 20.0, "clock")
    assert watch.due(None, T0) is None


def test_while_it_cleans_nothing_is_due(store: EmbeddedStore) -> None:
    saw_tooth(store, 0, 1990)
    watch = CleaningWatch()
    watch.follow(store, T0 + 1990 * NS)
    assert watch.wiping_since_ns == T0 + 1980 * NS
    assert watch.due(FACTS, T0 + 1990 * NS) is None


def test_the_outlook_follows_the_creep(store: EmbeddedStore) -> None:
    saw_tooth(store, 0, 4000, creep_bar=0.3)
    watch = CleaningWatch()
    watch.follow(store, T0 + 4000 * NS)
    seen = watch.outlook(FACTS)
    assert seen is not None
    last = np.median([c.trough_bar for c in watch.cycles[-3:]])
    assert seen.after_s == pytest.approx((0.75 * TRIGGER_BAR - last) / (0.3 / PERIOD_S), rel=0.1)


def test_a_steady_screen_has_no_outlook(store: EmbeddedStore) -> None:
    saw_tooth(store, 0, 4000)
    watch = CleaningWatch()
    watch.follow(store, T0 + 4000 * NS)
    assert watch.outlook(FACTS) is None


def test_a_difference_is_taken_within_a_second_only() -> None:
    inlet = Series.of([0, 10 * NS, 20 * NS], [90.0, 91.0, 92.0], 0)
    outlet = Series.of([NS // 2, 10 * NS, 23 * NS], [58.0, 58.5, 59.0], [0, 0x40000000, 0])
    taken = difference(inlet, outlet)
    assert taken.value[:2].tolist() == [32.0, 32.5]
    assert np.isnan(taken.value[2])
    assert taken.quality[1] == 0x40000000
    assert len(difference(inlet, Series.empty())) == 0
