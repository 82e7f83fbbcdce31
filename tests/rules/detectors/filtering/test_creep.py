"""A screen that is being blinded is found; healthy ageing, dirtier bales and stiffer melt are not taken for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rules.detectors.filtering.creep import PressureCreep
from rules.finding import Finding, Priority
from rules.line import LineFacts, RuleSetting
from tests.rules.detectors.plants import FACTS, Filter, changes
from tests.rules.detectors.signals import Staged, every, play, seconds_of


def judged(screen: Filter, facts: LineFacts = FACTS, *, with_die: bool = True) -> list[Finding]:
    signals = screen.made(with_die=with_die)
    return play(Staged.of(PressureCreep, facts, signals), every(signals, 60))


@pytest.mark.parametrize("with_die", [True, False])
def test_finds_a_screen_that_is_being_blinded(with_die: bool):
    found = judged(Filter(20, rise=0.025), with_die=with_die)
    began = found[0]
    assert (began.subject, began.active) == ("filter.screen", True)
    # Three cleanings fall into the start, eight are needed.
    assert seconds_of(began.time_ns) <= (3 + 10) * 240
    value, low, high = (began.evidence.figures[k][0] for k in ("rise per cleaning", "at least", "at most"))
    assert low <= value <= high and abs(value - 2.5) < 0.7 and low > 0.5
    assert ("Die pressure does not explain it" in began.sentence) is with_die
    assert ("die.pressure.pv" in began.evidence.tags) is with_die


def test_says_when_the_limit_is_reached():
    began = judged(Filter(14, rise=0.025, scatter_bar=0.05))[0]
    minutes = began.evidence.figures["to the limit"][0]
    earliest, latest = (began.evidence.figures[f"to the limit, {k}"][0] for k in ("earliest", "latest"))
    number = seconds_of(began.time_ns) / 240 - 1
    trough = 24 * 1.025**number
    assert earliest <= minutes <= latest
    assert minutes == pytest.approx((33.75 - trough) / (trough * 0.025 / 4), rel=0.25)


@pytest.mark.parametrize("seed", range(6))
def test_healthy_ageing_is_no_creep(seed: int):
    assert judged(Filter(40, rise=0.004, seed=seed)) == []


def test_a_dirtier_bale_is_no_creep():
    clean = Filter(12, rise=0.0)
    dirty = Filter(24, rise=0.0, period_s=120)  # twice the dirt
    signals = {}
    for path, one in clean.made().items():
        other = dirty.made()[path]
        # What comes during the wipe and before the trough is read lifts the trough.
        lift = 22 * 20 / 100 if path == "filter.dp.calc" else 0.0
        shift = np.int64((clean.duration_s - dirty.start_s) * 10**9)
        late = other.time_ns >= other.time_ns[0] + dirty.start_s * 10**9
        signals[path] = replace(
            one,
            time_ns=np.concatenate((one.time_ns, other.time_ns[late] + shift)),
            value=np.concatenate((one.value, other.value[late] + lift * (other.value[late] < 30))),
            quality=np.concatenate((one.quality, other.quality[late])),
        )
    assert play(Staged.of(PressureCreep, FACTS, signals), every(signals, 60)) == []


def test_a_stiffer_melt_is_no_creep_where_the_die_pressure_is_known():
    screen = Filter(20, rise=0.02)
    screen.die = screen.die * 1.02**screen.number
    assert judged(screen) == []
    assert judged(screen, with_die=False) != []


def test_a_change_of_feed_begins_a_new_window():
    screen = Filter(16, rise=0.025)
    assert judged(screen) != []
    screen.feed_sp[screen.number >= 8] = 700.0  # eight cleanings of the same feed come never together
    assert judged(screen) == []


def test_the_start_is_not_judged():
    assert judged(Filter(10, rise=0.03, scatter_bar=0.05)) == []  # ten less three of the start


def test_becomes_more_urgent_when_the_limit_is_near():
    priorities = [f.priority for f in judged(Filter(22, rise=0.02)) if f.active]
    assert priorities == [Priority.LOW, Priority.MEDIUM]


def test_ends_when_the_slope_is_gone_over_a_full_window():
    screen = Filter(32, rise=0.0)
    grown = np.minimum(screen.number, 14)
    screen.dp *= 1 + 0.018 * grown * (45 - screen.dp) / 21
    found = judged(screen)
    assert [f.active for f in found][-1] is False
    assert "no longer creeps up" in found[-1].sentence
    assert seconds_of(found[-1].time_ns) > (14 + 6) * 240


def test_ends_at_a_screen_change():
    screen = Filter(24, rise=0.025)
    new = screen.number >= 17
    screen.dp = np.where(new, 20 + (screen.dp - 24) * 0.8, screen.dp)
    found = judged(screen)
    ended = [f for f in found if not f.active]
    assert len(ended) == 1 and "as after a screen change" in ended[0].sentence
    assert 17 * 240 <= seconds_of(ended[0].time_ns) <= 19 * 240


def test_stands_while_the_pressure_is_above_the_limit_though_it_no_longer_rises():
    screen = Filter(36, rise=0.0)
    grown = np.minimum(screen.number, 18)
    screen.dp *= 1 + 0.025 * grown * (45 - screen.dp) / 21
    found = judged(screen)
    assert found and all(f.active for f in found)


def test_cleanings_of_an_overfull_screen_are_not_compared():
    screen = Filter(20, rise=0.0, scatter_bar=0.1)
    late = np.maximum(screen.number - 13, 0)
    screen.dp += 1.0 * late * np.clip(45 - screen.dp, 0, 21) / 21
    assert judged(screen) != []
    phase = (screen.time_s - screen.start_s) % 240
    screen.dp = np.where((late > 0) & (phase > 205) & (phase < 218), 60.0, screen.dp)
    assert judged(screen) == []


def test_a_gap_costs_one_cleaning_only():
    screen = Filter(20, rise=0.025, scatter_bar=0.1)
    signals = screen.made()
    away = (screen.time_s > 2000) & (screen.time_s < 2030)
    gone = {p: s for p, s in signals.items() if len(s) == len(away)}
    holed = {
        p: replace(s, time_ns=s.time_ns[~away], value=s.value[~away], quality=s.quality[~away])
        for p, s in gone.items()
    }
    holed["filter.wiper.state"] = changes(screen.time_s[~away], screen.wiper[~away])
    whole = play(Staged.of(PressureCreep, FACTS, signals), every(signals, 60))[0]
    with_gap = play(Staged.of(PressureCreep, FACTS, holed), every(holed, 60))[0]
    assert 0 <= (with_gap.time_ns - whole.time_ns) / 1e9 <= 2 * 240


def test_the_file_sets_the_numbers():
    facts = replace(
        FACTS, rules={"pressure-creep": RuleSetting(numbers={"slope_percent": 5.0, "horizon_s": 60.0})}
    )
    assert judged(Filter(14, rise=0.02), facts) == []
    assert judged(Filter(14, rise=0.02)) != []
