"""The load of alarms in a window."""

from __future__ import annotations

import pytest

from rules.finding import Priority
from rules.review import Window
from tests.support.made_traces import T0_NS, WINDOW
from trials.bars import AlarmBar
from trials.figures.alarm_load import alarm_figures
from trials.figures.trace import NS


def bar(start_s: int, end_s: int | None, *, late: bool = False) -> AlarmBar:
    end_ns = None if end_s is None else T0_NS + end_s * NS
    return AlarmBar("rule", "filter", Priority.LOW, "Seen.", T0_NS + start_s * NS, end_ns=end_ns, late=late)


def test_alarms_an_hour_the_most_in_ten_minutes_and_the_time_with_one():
    bars = [bar(0, 300), bar(200, 500), bar(560, 620), bar(2000, 2100), bar(-100, 50), bar(3600, None)]
    rate, most, stood = alarm_figures(bars, WINDOW)
    assert rate.value == 4.0 and rate.standard_uncertainty == pytest.approx(2.0) and rate.unit == "/h"
    assert most.value == 3.0
    assert stood.value == pytest.approx(100 * (500 + 60 + 100) / 3600)


def test_one_that_goes_on_stands_to_the_end_and_one_found_late_is_not_counted():
    rate, _, stood = alarm_figures([bar(1800, None), bar(100, 200, late=True)], WINDOW)
    assert rate.value == 1.0 and stood.value == pytest.approx(50)


def test_no_alarms_is_a_figure_and_no_rules_is_none():
    rate, most, stood = alarm_figures([], WINDOW)
    assert (rate.value, most.value, stood.value) == (0.0, 0.0, 0.0)
    assert rate.standard_uncertainty == pytest.approx(1.0)  # none in an hour may well be one in the next
    assert all(f.absent == "no rules judged this trial" for f in alarm_figures(None, WINDOW))


def test_a_window_of_a_few_minutes_gives_no_rate():
    rate, most, stood = alarm_figures([bar(0, 60)], (Window(T0_NS, T0_NS + 300 * NS),))
    assert (
        "shorter than ten minutes" in rate.absent and most.value is None and stood.value == pytest.approx(20)
    )
    assert all(f.value is None for f in alarm_figures([], ()))
