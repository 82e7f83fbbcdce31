"""What could not be judged is counted, and never taken for good."""

from __future__ import annotations

from rules.digest.sight import Sight, Unseen
from rules.digest.words import unseen
from tests.rules.digest.told import Told, at


def test_spells_are_cut_at_the_period_and_count_once_where_they_overlap() -> None:
    told = Told()
    told.blind("heater-weak", "2026-11-25 05:00", "2026-11-25 07:00", "melt stands")
    told.blind("heater-weak", "2026-11-25 06:30", "2026-11-25 08:00", "cleaning", "filter.plate.1")
    told.blind("heater-weak", "2026-11-25 13:30", "2026-11-25 15:00", "melt stands")
    (one,) = told.digest().sight.unseen
    assert (one.rule, one.s, one.why, one.subjects) == ("heater-weak", 2.5 * 3600, "melt stands", ())


def test_a_spell_that_is_told_after_the_period_counts_in_it() -> None:
    told = Told()
    told.blind("heater-weak", "2026-11-25 13:20", "2026-11-25 14:00", "melt stands", "filter.plate.2")
    told.blind("dirt-step", "2026-11-25 14:00", "2026-11-25 15:00", "melt stands")
    (one,) = told.digest().sight.unseen
    assert (one.s, one.subjects) == (2400, ("filter.plate.2",))


def test_a_rule_that_failed_is_blind_until_the_program_was_started_again() -> None:
    told = Told()
    told.event("2026-11-25 07:00", "rule-stopped", "dirt-step")
    told.event("2026-11-25 08:00", "rule-stopped", "surging")
    told.event("2026-11-25 09:00", "trial-reopened")
    told.event("2026-11-25 12:00", "rule-stopped", "surging")
    seen = {u.rule: (u.s / 3600, u.why) for u in told.digest().sight.unseen}
    assert seen == {"surging": (3.0, "the rule failed"), "dirt-step": (2.0, "the rule failed")}


def test_time_without_record_counts_once() -> None:
    gaps = [
        (at("2026-11-25 05:00"), at("2026-11-25 06:10")),
        (at("2026-11-25 06:05"), at("2026-11-25 06:20")),
    ]
    assert Told().digest(unrecorded=gaps).sight.unrecorded_s == 1200


def test_rules_with_one_reason_stand_together_and_each_length_once() -> None:
    spells = (("a", 9000.0, "melt stands"), ("b", 9000.0, "melt stands"), ("c", 4200.0, "melt stands"))
    sight = Sight(4, (*(Unseen(*spell) for spell in spells), Unseen("d", 3600.0, "an uneven feed")))
    assert unseen(sight) == ["2 h 30 min, melt stands: a, b; 1 h 10 min: c", "1 h, an uneven feed: d"]
