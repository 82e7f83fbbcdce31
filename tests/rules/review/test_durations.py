"""How long alarms waited, stood and were hidden."""

from __future__ import annotations

import numpy as np

from rules.entry import ActKind
from rules.review import histories
from rules.review.durations import Durations, hidden, to_acknowledge, to_return
from rules.review.history import OUT_OF_SERVICE, SHELVED, SUPPRESSED
from tests.rules.review.told import MONTH, Told


def test_to_acknowledge_and_to_return() -> None:
    told = Told()
    waited = [30, 60, 90, 300]
    for n, seconds in enumerate(waited):
        name = {"subject": f"filter.plate.{n}"}
        told.found(1000 * n, True, **name)
        told.act(1000 * n + seconds, ActKind.SEEN, **name)
        told.found(1000 * n + 2 * seconds, False, **name)
    told.found(9000, True, subject="filter.plate.9")
    some = histories(told.entries)
    median, p95 = np.percentile(waited, [50, 95])
    assert to_acknowledge(some, MONTH) == Durations(4, 1, median, p95)
    assert to_return(some, MONTH) == Durations(4, 1, 2 * median, 2 * p95)


def test_what_was_put_aside_counts_as_not_acknowledged() -> None:
    told = Told()
    told.found(0, True)
    told.act(10, ActKind.SHELVE, until=600)
    assert to_acknowledge(histories(told.entries), MONTH) == Durations(0, 1, None, None)


def test_hidden_times_are_added_up_alarm_by_alarm_and_cut_by_the_window() -> None:
    told = Told()
    told.spell(-900, -800)
    told.act(-600, ActKind.SHELVE, until=600)
    told.passed(600)
    told.spell(700, 701, subject="b")
    told.act(1000, ActKind.SHELVE, until=1100, subject="b")
    told.passed(1100)
    told.act(2000, ActKind.OUT_OF_SERVICE)
    told.act(2060, ActKind.IN_SERVICE)
    told.found(3000, True, subject="c", root=("source-silent", "source.plc"))
    some = histories(told.entries)
    shelved = hidden(some, SHELVED, MONTH)
    assert (shelved.alarms, shelved.times, shelved.total_s, shelved.longest_s) == (2, 2, 700, 600)
    assert hidden(some, OUT_OF_SERVICE, MONTH).total_s == 60
    assert hidden(some, SUPPRESSED, MONTH).total_s == MONTH.s - 3000


def test_the_return_of_what_nobody_was_told_of_does_not_count() -> None:
    told = Told()
    told.spell(0, 50)
    told.act(60, ActKind.SHELVE, until=600)
    told.spell(100, 400)
    assert to_return(histories(told.entries), MONTH) == Durations(1, 0, 50, 50)
