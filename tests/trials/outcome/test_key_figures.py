"""The eight figures beside what is wanted, by their names and by the short ones."""

from __future__ import annotations

from dataclasses import replace

from tests.trials.test_enough import ALL, outcome
from trials.outcome.key_figures import FINENESS, key_figures, not_shown
from trials.outcome.targets import Verdict
from trials.record.entries import What


def test_the_eight_come_first_then_what_else_is_wanted_with_units_as_written() -> None:
    targets = [
        {"figure": "Throughput", "least": "0.75 t/h"},
        {"figure": "pressure index", "most": "90 %"},
        {"figure": "beauty", "least": "1 1"},
        {"figure": "cleaning period", "least": "3 kg"},
    ]
    found = outcome([(What.PLAN, 0, {"question": "?", "target": targets}), *ALL[1:]])
    keys = key_figures(found, found.points[0].figures)
    assert [k.figure.name for k in keys] == [
        "throughput, agreed",
        FINENESS,
        "cleaning period",
        "discharge loss, gross",
        "pressure difference over the screen, P95",
        "temperature, melt at the screw tip",
        "specific energy, line",
        "pellet moisture",
        "pressure index",
        "beauty",
    ]
    by_name = {k.figure.name: k for k in keys}
    assert by_name["throughput, agreed"].verdict is Verdict.REACHED
    assert (by_name[FINENESS].figure.value, by_name[FINENESS].verdict) == (110, None)
    assert by_name["beauty"].verdict is Verdict.NOT_SHOWN
    assert by_name["cleaning period"].verdict is Verdict.OTHER_UNIT
    assert dict(not_shown(keys))["beauty"] == "there is no figure of that name"


def test_without_steady_time_no_key_figure_is_printed_but_the_screen_s() -> None:
    found = outcome()
    nothing = replace(found.points[0].figures, figures=())
    values = {k.figure.name: k.figure.value for k in key_figures(found, nothing)}
    assert all(v is None for name, v in values.items() if name != FINENESS)
