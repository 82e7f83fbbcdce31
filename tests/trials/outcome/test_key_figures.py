"""The eight figures beside what is wanted: reached only where the uncertainty allows to say so."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.trials.test_enough import ALL, outcome
from trials.figures.figure import Figure
from trials.outcome.key_figures import FINENESS, KEY, Verdict, key_figures, not_shown, verdict_of
from trials.record.entries import What


def figure(value: float | None, standard: float | None = None) -> Figure:
    return Figure("a", value, "kg/h", (), "", standard, absent="" if value is not None else "no scale")


@pytest.mark.parametrize(
    ("value", "standard", "least", "most", "verdict"),
    [
        (780, 10, 750, None, Verdict.REACHED),
        (780, 20, 750, None, Verdict.NOT_TOLD_APART),
        (700, 10, 750, None, Verdict.MISSED),
        (780, None, 780, None, Verdict.REACHED),
        (780, 5, None, 800, Verdict.REACHED),
        (805, 5, None, 800, Verdict.NOT_TOLD_APART),
        (830, 5, None, 800, Verdict.MISSED),
        (780, 5, 700, 900, Verdict.REACHED),
        (780, 5, None, None, Verdict.NO_TARGET),
        (None, None, 1, None, Verdict.NOT_SHOWN),
    ],
)
def test_a_target_is_reached_when_the_whole_interval_lies_on_its_good_side(
    value: float | None, standard: float | None, least: float | None, most: float | None, verdict: Verdict
) -> None:
    assert verdict_of(figure(value, standard), least, most) is verdict


def test_the_eight_come_first_then_what_else_is_wanted_with_units_as_written() -> None:
    targets = [
        {"figure": "throughput, agreed", "least": "0.75 t/h"},
        {"figure": "pressure index", "most": "90 %"},
        {"figure": "beauty", "least": "1 1"},
        {"figure": "cleaning period", "least": "3 kg"},
    ]
    found = outcome([(What.PLAN, 0, {"question": "?", "target": targets}), *ALL[1:]])
    keys = key_figures(found, found.points[0].figures)
    assert [k.figure.name for k in keys] == [*KEY, "pressure index", "beauty"]
    by_name = {k.figure.name: k for k in keys}
    assert by_name["throughput, agreed"].least == pytest.approx(750)
    assert by_name[FINENESS].figure.value == 110
    assert by_name["beauty"].verdict is Verdict.NOT_SHOWN
    assert "cannot be compared" in by_name["cleaning period"].figure.absent
    assert dict(not_shown(keys))["beauty"] == "there is no figure of that name"


def test_without_steady_time_no_key_figure_is_printed_but_the_screen_s() -> None:
    found = outcome()
    nothing = replace(found.points[0].figures, figures=())
    values = {k.figure.name: k.figure.value for k in key_figures(found, nothing)}
    assert all(v is None for name, v in values.items() if name != FINENESS)
