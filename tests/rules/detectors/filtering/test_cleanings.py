"""Cleanings that have changed, and why: each cause by its own signs, and by no other rule's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from historian.frame import NS, Series
from rules.detectors.filtering.cleaning_rule import CleaningRule
from rules.detectors.filtering.cleanings import (
    CLEANING_RULES,
    CleaningWeak,
    DirtStep,
    DischargeBlocked,
    MeltChanged,
    WiperSlipping,
)
from rules.finding import Blind, Finding, Priority
from rules.line import LineFacts, RuleSetting
from rules.seen.told import MATERIAL_CHANGED, Told
from tests.rules.detectors.filtering.days import (
    BLOCKED,
    CLEAN_BAR,
    DIRTY,
    SLIPPING,
    THIN,
    TRIGGER_BAR,
    USUAL,
    WORN,
    Tooth,
    cleanings,
    made,
    saw,
)
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.signals import T0_NS, Staged, every, play, played, seconds_of

SIGNS: dict[type[CleaningRule], Sequence[Tooth]] = {
    DirtStep: [DIRTY] * 6,
    CleaningWeak: [WORN] * 5,
    DischargeBlocked: [BLOCKED] * 5,
    WiperSlipping: [SLIPPING] * 4,
    MeltChanged: [THIN] * 4,
}


def found(rule: type[CleaningRule], signals: dict[str, Series], facts: LineFacts = FACTS) -> list[Finding]:
    return play(Staged.of(rule, facts, signals), every(signals, 60))


@pytest.mark.parametrize("rule", CLEANING_RULES)
@pytest.mark.parametrize("speaks", CLEANING_RULES)
def test_each_cause_is_told_by_its_own_rule_and_by_no_other(
    rule: type[CleaningRule], speaks: type[CleaningRule]
):
    began = [f for f in found(speaks, cleanings(*SIGNS[rule])) if f.active]
    assert bool(began) == (speaks is rule)


@pytest.mark.parametrize("rule", CLEANING_RULES)
def test_usual_cleanings_are_none(rule: type[CleaningRule]):
    scattered = [replace(USUAL, period_s=p) for p in (120, 100, 135, 118, 104, 128, 111, 122)]
    assert found(rule, cleanings(*scattered)) == []


def test_a_dirty_bale_is_found_after_a_few_cleanings_and_ends():
    began, ended = found(DirtStep, cleanings(*[DIRTY] * 6, *[USUAL] * 5))
    assert (began.subject, began.priority) == ("filter.screen", Priority.LOW)
    first_s = 700 + 8 * 120
    assert first_s < seconds_of(began.time_ns) <= first_s + 4 * 60
    assert "every 60 s instead of 120 s" in began.sentence and not ended.active


def test_a_dirty_bale_is_told_when_a_cleaning_begins_not_when_it_is_over():
    signals = cleanings(*[DIRTY] * 6)
    (began, *_) = found(DirtStep, signals)
    wiper = signals["filter.wiper.state"]
    moves = wiper.value == 1
    starts = wiper.time_ns[1:][moves[1:] & ~moves[:-1]]
    assert min(abs(began.time_ns - starts)) <= 10 * NS


def test_a_single_short_period_is_no_dirty_bale():
    teeth = [USUAL, replace(USUAL, period_s=50), USUAL, replace(USUAL, period_s=55), USUAL, USUAL]
    assert found(DirtStep, cleanings(*teeth)) == []


def test_a_worn_wiper_says_what_it_leaves():
    (began, *_) = found(CleaningWeak, cleanings(*[WORN] * 5))
    assert began.subject == "filter.wiper" and "took off 7 bar instead of 19" in began.sentence


def test_a_blocked_outlet_says_what_does_not_come_out_and_warns():
    (began, *_) = found(DischargeBlocked, cleanings(*[BLOCKED] * 5))
    assert (began.subject, began.priority) == ("filter.discharge", Priority.MEDIUM)
    assert "The last cleaning brought out 0.00 kg instead of 0.70" in began.sentence
    assert "trapped" in began.sentence and "trained people" in began.advice


def test_an_outlet_that_lets_some_through_is_told_at_the_second_cleaning():
    some = replace(BLOCKED, discharged_kg=0.2)
    (began, *_) = found(DischargeBlocked, cleanings(*[some] * 5))
    assert "The last 2 cleanings brought out 0.20 kg each instead of 0.70" in began.sentence


def test_a_lot_that_grows_dirtier_by_and_by_is_no_step():
    slower = [replace(USUAL, period_s=p) for p in (116, 112, 108, 104, 100, 98, 95, 92, 90, 88, 86, 84, 82)]
    assert found(DirtStep, cleanings(*slower, *[replace(USUAL, period_s=80)] * 6)) == []


def test_cleanings_that_take_less_off_come_earlier_without_more_dirt():
    less = Tooth(period_s=72, peak_bar=TRIGGER_BAR - 9, trough_bar=CLEAN_BAR)
    assert found(DirtStep, cleanings(*[less] * 8)) == []


def test_a_feed_that_leaves_its_set_point_is_no_other_melt():
    signals = cleanings(*[THIN] * 4)
    feed = signals["doser.rate.pv"]
    late = feed.time_ns > feed.time_ns[700 + 8 * 120]
    signals["doser.rate.pv"] = Series(feed.time_ns, np.where(late, 600.0, feed.value), feed.quality)
    assert found(MeltChanged, signals) == []


def test_a_lot_that_was_told_is_no_news():
    signals = cleanings(*[THIN] * 4)
    staged = Staged.of(MeltChanged, FACTS, signals)
    staged.stage.tell(Told(T0_NS + 1500 * NS, MATERIAL_CHANGED))
    assert play(staged, every(signals, 60)) == []


def test_a_wiper_that_never_stops_and_a_little_more_dirt_is_no_worn_blade():
    def level(factor: float) -> list[Finding]:
        values = saw([USUAL] * 2, rest_s=3600)
        seconds = np.arange(len(values["filter.dp.calc"]))
        values["filter.wiper.state"][:] = 1.0
        chance = np.random.default_rng(4)
        values["filter.dp.calc"] = np.where(
            seconds < 3000, 22.0, 22.0 * factor
        ) + 0.3 * chance.standard_normal(len(seconds))
        return found(CleaningWeak, made(values))

    assert level(1.18) == []
    assert [f.active for f in level(1.6)] == [True]


def test_a_slipping_wiper_is_told_at_the_second_cleaning():
    (began, *_) = found(WiperSlipping, cleanings(*[SLIPPING] * 4))
    assert began.priority is Priority.HIGH
    assert seconds_of(began.time_ns) <= 700 + 8 * 120 + 60 + 60


def test_a_thinner_melt_is_no_screens_affair():
    (began, *_) = found(MeltChanged, cleanings(*[THIN] * 4))
    assert began.subject == "extruder.melt" and "thinner or hotter" in began.sentence


def test_the_line_that_stops_ends_it():
    values = saw([USUAL] * 8 + [SLIPPING] * 4, rest_s=400)
    signals = made(values)
    stopped = signals["extruder.screw.speed.pv"]
    after = stopped.time_ns > stopped.time_ns[-300]
    signals["extruder.screw.speed.pv"] = Series(stopped.time_ns, stopped.value * ~after, stopped.quality)
    assert [f.active for f in found(WiperSlipping, signals)] == [True, False]


def test_before_what_is_usual_is_known_it_is_blind_and_says_so():
    signals = cleanings(usual=2)
    said = played(Staged.of(DirtStep, FACTS, signals), every(signals, 60))
    assert "melt has only just begun to run" in {b.why for b in said if isinstance(b, Blind)}


def test_the_file_sets_how_many_cleanings_show_it():
    facts = replace(FACTS, rules={"cleaning-weak": RuleSetting(numbers={"cleanings": 5})})
    sooner, later = (
        found(CleaningWeak, cleanings(*[WORN] * 7)),
        found(CleaningWeak, cleanings(*[WORN] * 7), facts),
    )
    assert seconds_of(later[0].time_ns) - seconds_of(sooner[0].time_ns) == pytest.approx(2 * 70, abs=10)


def test_without_a_scale_a_worn_wiper_is_still_told():
    values = saw([USUAL] * 8 + [WORN] * 5)
    del values["filter.discharge.weight.total"]
    assert [f.active for f in found(CleaningWeak, made(values))] == [True]
