"""A figure has a value or a reason, never both and never neither."""

from __future__ import annotations

from math import inf, nan

import pytest

from rules.review import Window
from trials.figures import Figure, Measured, missing

WINDOW = (Window(0, 10),)


def test_a_known_value_with_its_uncertainty():
    figure = Figure.of(
        "flow", "kg/h", Measured(780.0, {"scale": 3.0, "doser": 4.0}, tags=("a",)), WINDOW, "how"
    )
    assert (figure.value, figure.standard_uncertainty, figure.coverage, figure.expanded) == (
        780.0,
        5.0,
        2.0,
        10.0,
    )
    assert figure.absent == "" and figure.tags == ("a",) and figure.windows == WINDOW and figure.remarks == ()


def test_a_missing_value_keeps_its_reason():
    figure = Figure.of("flow", "kg/h", missing("no scale", "a"), WINDOW, "how", ["a remark"])
    assert figure.value is None and figure.absent == "no scale" and figure.standard_uncertainty is None
    assert figure.remarks == ()  # nothing to limit


@pytest.mark.parametrize("value", [nan, inf, -inf])
def test_no_number_is_no_value(value: float):
    figure = Figure.of("flow", "kg/h", Measured(value), WINDOW, "how")
    assert figure.value is None and figure.absent


def test_a_number_of_which_no_uncertainty_was_judged_states_none():
    assert Figure.of("count", "1", Measured(3.0), WINDOW, "how").standard_uncertainty is None


@pytest.mark.parametrize(("share", "told"), [(0.96, 0), (0.94, 1)])
def test_below_95_percent_it_is_indicative(share: float, told: int):
    figure = Figure.of("flow", "kg/h", Measured(1.0, known_share=share), WINDOW, "how")
    assert len(figure.remarks) == told
