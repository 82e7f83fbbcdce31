"""The work list: who is on it, in which order, until when, and how a part comes back."""

from __future__ import annotations

import pytest

from rules.digest.deadlines import Deadline, Stays, deadline_of, stays
from rules.digest.work import MOST
from rules.entry import ActKind
from rules.finding import Priority
from rules.seen.told import SCREEN_CHANGED
from rules.table import RULES
from tests.rules.digest.told import EARLY, LATE, NIGHT, Told, at


def parts(told: Told, *periods: object) -> list[list[str]]:
    """The parts on the list of each period."""
    return [[i.part for i in told.digest(p).work] for p in periods]  # type: ignore[arg-type]


def test_an_item_carries_over_until_it_is_done() -> None:
    told = Told()
    told.spell("2026-11-25 08:00", "2026-11-25 08:30")
    told.repaired("2026-11-25 18:00")
    assert parts(told, EARLY, LATE, NIGHT) == [["filter.plate.5"], [], []]
    (done,) = told.digest(LATE).done
    assert (done.repair.by, done.repair.text, done.stands) == ("A. Doe", "new cartridge", False)
    assert told.digest(EARLY).done == told.digest(NIGHT).done == ()


def test_an_item_that_nobody_does_stays_though_its_finding_is_over() -> None:
    told = Told()
    told.spell("2026-11-25 08:00", "2026-11-25 08:30")
    (item,) = told.digest(NIGHT).work
    assert not item.stands and item.since_ns == at("2026-11-25 08:00") and item.after is None


def test_an_item_comes_back_when_it_is_found_after_the_repair() -> None:
    told = Told()
    told.spell("2026-11-25 08:00", "2026-11-25 08:30")
    told.repaired("2026-11-25 09:00")
    told.spell("2026-11-25 16:00", "2026-11-25 16:10")
    told.spell("2026-11-25 17:00", "2026-11-25 17:10")
    assert parts(told, EARLY) == [[]]
    (item,) = told.digest(LATE).work
    assert item.came_back and item.after is not None and item.after.time_ns == at("2026-11-25 09:00")
    assert (item.since_ns, item.times) == (at("2026-11-25 16:00"), 2)
    told.repaired("2026-11-25 20:00", text="new plate")
    assert parts(told, LATE, NIGHT) == [[], []]


def test_another_fault_of_a_mended_part_is_new_and_did_not_come_back() -> None:
    told = Told()
    told.spell("2026-11-25 08:00", "2026-11-25 08:30")
    told.repaired("2026-11-25 09:00")
    told.spell("2026-11-25 16:00", None, rule="probe-break")
    (item,) = told.digest(LATE).work
    assert not item.came_back and item.after is None and item.rules == ("probe-break",)


def test_what_was_said_to_be_done_and_never_ended_is_on_the_next_list() -> None:
    told = Told()
    told.spell("2026-11-25 08:00", None)
    told.repaired("2026-11-25 13:00")
    early, late = told.digest(EARLY), told.digest(LATE)
    assert early.work == () and [d.stands for d in early.done] == [True]
    (item,) = late.work
    assert item.stands and not item.came_back and item.after is not None


def test_a_repair_after_the_period_does_not_change_its_list() -> None:
    told = Told()
    told.spell("2026-11-25 08:00", None)
    before = told.digest(EARLY)
    told.found("2026-11-25 15:00", False)
    told.repaired("2026-11-25 15:10")
    assert told.digest(EARLY) == before


def test_a_changed_screen_is_done_and_a_mark_taken_back_is_not() -> None:
    told = Told()
    torn = {"rule": "screen-torn", "subject": "filter.screen", "priority": Priority.HIGH}
    told.spell("2026-11-25 08:00", "2026-11-25 08:30", **torn)
    mark = told.note("2026-11-25 09:00", SCREEN_CHANGED, what=ActKind.MARK)
    assert parts(told, EARLY) == [[]]
    told.note("2026-11-25 09:05", f"taken back: {SCREEN_CHANGED}", what=ActKind.MARK, reason=f"act {mark}")
    assert parts(told, EARLY) == [["filter.screen"]]
    assert told.digest(EARLY).deeds == ()


def test_what_ends_by_itself_is_work_only_while_it_stands() -> None:
    told = Told()
    told.spell("2026-11-25 08:00", "2026-11-25 08:30", rule="pressure-high", subject="filter.inlet")
    told.spell("2026-11-25 21:00", None, rule="pressure-high", subject="filter.inlet")
    assert parts(told, EARLY, LATE) == [[], ["filter.inlet"]]
    assert [s.rule for s in told.digest(EARLY).seen] == ["pressure-high"], "it was found all the same"


def test_a_consequence_is_no_work_of_its_own() -> None:
    told = Told()
    told.spell("2026-11-25 08:00", None, rule="heater-weak", root=("heater-supply", "filter.plate"))
    assert parts(told, EARLY) == [[]]


def test_what_is_only_an_entry_is_no_work() -> None:
    told = Told()
    told.spell("2026-11-25 08:00", None, priority=Priority.JOURNAL)
    assert parts(told, EARLY) == [[]]


def test_two_rules_of_one_part_are_one_item_that_tells_of_the_graver() -> None:
    told = Told()
    told.spell("2026-11-25 08:00", None, rule="heater-weak", priority=Priority.LOW, sentence="weak")
    told.spell("2026-11-25 09:00", None, rule="heater-stuck-on", priority=Priority.HIGH, sentence="stuck")
    told.spell("2026-11-25 10:00", None, rule="heater-power", priority=Priority.MEDIUM, sentence="cold")
    (item,) = told.digest(EARLY).work
    assert item.leading.sentence == "stuck" and item.deadline is Deadline.NOW
    assert item.rules == ("heater-power", "heater-stuck-on", "heater-weak")
    assert (item.since_ns, item.times) == (at("2026-11-25 08:00"), 3)


def test_at_most_five_items_the_most_urgent_first() -> None:
    told = Told()
    low, medium, high = Priority.LOW, Priority.MEDIUM, Priority.HIGH
    told.spell("2026-11-25 08:00", None, subject="filter.plate.1", priority=low, rule="heater-weak")
    told.spell("2026-11-25 07:00", None, subject="filter.plate.2", priority=low, rule="pressure-zero")
    told.spell("2026-11-25 09:00", "2026-11-25 09:01", subject="filter.plate.3", priority=medium)
    told.spell("2026-11-25 10:00", None, subject="filter.plate.4", priority=medium)
    told.spell("2026-11-25 11:00", None, subject="filter.plate.5", priority=high)
    told.spell("2026-11-25 06:00", None, subject="filter.plate.6", priority=low, rule="pressure-zero")
    told.spell("2026-11-24 06:00", None, subject="filter.plate.7", priority=medium)
    digest = told.digest(EARLY)
    assert MOST == 5
    assert [i.part[-1] for i in digest.work] == ["5", "7", "4", "3", "1"]
    assert [i.part[-1] for i in digest.further] == ["6", "2"]
    words = [i.deadline.words for i in (*digest.work, *digest.further)]
    assert words == ["now", "next stop", "next stop", "next stop", "next stop", "this week", "this week"]


def test_of_equals_the_one_that_came_back_is_first() -> None:
    told = Told()
    told.spell("2026-11-25 07:00", None, subject="filter.plate.1")
    told.spell("2026-11-25 07:10", "2026-11-25 07:20", subject="filter.plate.2")
    told.repaired("2026-11-25 08:00", "filter.plate.2")
    told.spell("2026-11-25 10:00", None, subject="filter.plate.2")
    assert parts(told, EARLY) == [["filter.plate.2", "filter.plate.1"]]


@pytest.mark.parametrize("rule", RULES)
def test_every_rule_has_a_deadline_no_later_than_its_priority_asks(rule: str) -> None:
    priority = RULES[rule].priority
    latest = {4: Deadline.NOW, 3: Deadline.NEXT_STOP, 2: Deadline.THIS_WEEK}[priority]
    assert deadline_of(rule, priority) <= latest
    assert deadline_of(rule, Priority.HIGH) is Deadline.NOW


COMING = {
    "feed-starved", "surging", "foaming", "vent-vacuum", "extruder-cold", "drive-overload", "material-residue",
    "die-frozen", "die-drool", "knife-worn", "pellet-length", "water-temperature", "water-flow", "dryer-overload",
}  # fmt: skip
"""Rules of extruder and pelletizer that need not be in the table yet; the set goes when they are."""


def test_the_rules_that_are_named_for_a_reason_of_their_own_exist() -> None:
    from rules.digest import deadlines

    named = {
        r
        for names in (deadlines._AT_A_STOP, deadlines._AT_ONCE, deadlines._WHILE_IT_STANDS, deadlines._NEVER)
        for r in names
    }
    assert named <= set(RULES) | COMING
    assert stays("dirt-step", Priority.HIGH) is Stays.NEVER
    assert stays("a rule of tomorrow", Priority.LOW) is Stays.UNTIL_DONE
