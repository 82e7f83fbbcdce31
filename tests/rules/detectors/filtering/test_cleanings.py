"""Cleanings that have changed, and why: each cause by its own signs, and by no other rule's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from historian.frame import NS, Series
from rules.detectors.filtering.cleanings import (
    CLEANING_RULES,
    CleaningRule,
    CleaningWeak,
    DirtStep,
    DischargeBlocked,
    MeltChanged,
    WiperSlipping,
)
from rules.finding import Blind, Finding, Priority
from rules.line import LineFacts, RuleSetting
from tests.rules.detectors.filtering.days import (
    BLOCKED,
    DIRTY,
    SLIPPING,
    THIN,
    USUAL,
    WORN,
    Tooth,
    cleanings,
    made,
    saw,
)
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.signals import Staged, every, play, played, seconds_of

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
    assert "brought out 0.00 kg each instead of 0.70" in began.sentence
    assert "trapped" in began.sentence and "trained people" in began.advice


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
