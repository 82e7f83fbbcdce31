"""Findings of the journal put together from begin to end."""

from __future__ import annotations

from rules.digest.episodes import episodes_of
from rules.finding import Priority
from tests.rules.digest.told import Told, at


def test_newer_words_and_a_graver_priority_belong_to_the_same_episode() -> None:
    told = Told()
    told.found("2026-11-25 08:00", onset="2026-11-25 07:50", priority=Priority.LOW)
    told.found("2026-11-25 09:00", priority=Priority.HIGH, sentence="It is worse.")
    told.found("2026-11-25 09:30", priority=Priority.LOW, sentence="It is better.")
    told.found("2026-11-25 10:00", False)
    (one,) = episodes_of(told.ordered())
    assert (one.onset_ns, one.end_ns) == (at("2026-11-25 07:50"), at("2026-11-25 10:00"))
    assert one.priority is Priority.HIGH and one.sentence == "It is better."


def test_each_begin_after_an_end_is_an_episode_of_its_own() -> None:
    told = Told()
    told.spell("2026-11-25 08:00", "2026-11-25 08:10")
    told.spell("2026-11-25 09:00", None)
    assert [e.end_ns is None for e in episodes_of(told.ordered())] == [False, True]


def test_a_momentary_finding_is_over_when_it_is_told() -> None:
    told = Told()
    told.found("2026-11-25 08:10", onset="2026-11-25 08:00", momentary=True)
    (one,) = episodes_of(told.ordered())
    assert one.end_ns == at("2026-11-25 08:10") and not one.stands_at(at("2026-11-25 09:00"))


def test_what_was_found_late_does_not_end_what_is_found_now() -> None:
    told = Told()
    told.found("2026-11-25 08:00")
    told.found("2026-11-25 07:00", late=True)
    told.found("2026-11-25 07:30", False, late=True)
    late, now = episodes_of(told.ordered())
    assert (late.late, late.end_ns) == (True, at("2026-11-25 07:30"))
    assert (now.late, now.end_ns) == (False, None)


def test_what_the_rules_forgot_when_a_clock_was_set_back_is_over() -> None:
    told = Told()
    told.found("2026-11-25 08:00")
    told.began_anew("2026-11-25 08:30")
    (one,) = episodes_of(told.ordered())
    assert one.end_ns == at("2026-11-25 08:30")


def test_a_consequence_knows_its_root() -> None:
    told = Told()
    told.spell("2026-11-25 08:00", "2026-11-25 09:00", root=("source-silent", "source.plc"))
    told.regrouped("2026-11-25 09:03")
    told.spell("2026-11-25 10:00", "2026-11-25 11:00")
    assert [e.root for e in episodes_of(told.ordered())] == [("source-silent", "source.plc"), None]


def test_an_end_without_a_begin_is_nothing() -> None:
    told = Told()
    told.found("2026-11-25 08:00", False)
    assert episodes_of(told.ordered()) == []
