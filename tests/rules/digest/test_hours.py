"""Running hours of what wears: from the journal's changes and the turning screw, or not known."""

from __future__ import annotations

import numpy as np
import pytest

from historian.frame import NS
from rules.digest.hours import Turning, Worn, worn_of
from rules.digest.told import BLADE, KNIVES, SCREEN, Repair

H = 3600 * NS
PARTS = [
    SCREEN,
    BLADE,
    KNIVES,
    "filter.plate.1",
    "filter.plate.2",
    "filter.plate.1.temp",
    "filter.plate.2.temp",
]


def turning(*speeds: float, from_ns: int = 0) -> Turning:
    """An hour at each speed."""
    return Turning(np.arange(len(speeds), dtype=np.int64) * H, np.array(speeds), H, from_ns)


def test_only_hours_in_which_the_screw_turns_count() -> None:
    ran = turning(95.0, 0.0, float("nan"), 95.0, 0.4, 95.0)
    assert ran.hours(0, 6 * H) == 3
    assert ran.hours(H // 2, 6 * H) == 2.5
    assert ran.hours(0, 3 * H + H // 4) == 1.25


def test_before_the_record_begins_hours_are_not_known() -> None:
    assert turning(95.0, 95.0, from_ns=H).hours(0, 2 * H) is None


def test_what_was_never_changed_is_not_known_and_plates_stand_together() -> None:
    repairs = [Repair(SCREEN, H, "", "screen changed"), Repair("filter.plate.2", 0, "A. Doe", "new")]
    found = worn_of(PARTS, repairs, turning(95.0, 95.0, 95.0), 3 * H)
    assert found == [
        Worn(SCREEN, 2.0, H),
        Worn(BLADE, None),
        Worn(KNIVES, None),
        Worn("filter.plate.*", None),
        Worn("filter.plate.2", 3.0, 0),
        Worn("filter.plate.*.temp", None),
    ]


def test_the_machines_own_counters_are_taken_where_they_are() -> None:
    screen, _, knives, *_ = worn_of(PARTS, [], None, H, knife_hours=87.0, cleanings=212.0)
    assert knives == Worn(KNIVES, 87.0, None, "by the machine's own counter")
    assert screen.hours is None and screen.more.startswith("212 cleanings")


def test_a_change_is_told_though_the_speed_is_not_recorded() -> None:
    assert worn_of([SCREEN], [Repair(SCREEN, H, "", "")], None, 2 * H) == [Worn(SCREEN, None, H)]


@pytest.mark.parametrize("later", [2 * H + 1, 3 * H])
def test_a_change_after_the_period_does_not_count(later: int) -> None:
    assert worn_of([SCREEN], [Repair(SCREEN, later, "", "")], turning(95.0), 2 * H) == [Worn(SCREEN, None)]
