"""Before visitors: code names, and no figure of a recipe."""

from __future__ import annotations

from historian.catalogue import CATALOGUE
from trials.customers.visitors import tags_for_visitors, trial_for_visitors, without_names
from trials.record import Trial


def test_a_trial_is_called_by_its_code_name_alone() -> None:
    trial = Trial(3, "Folienkreis day 1", "Folienkreis", "heron", 5, None, {"throughput": "780 kg/h"})
    shown = trial_for_visitors(trial)
    assert (shown.called, shown.start_ns, shown.end_ns) == ("heron", 5, None)
    assert not any(word in repr(shown) for word in ("Folienkreis", "780"))
    assert trial_for_visitors(Trial(3, "day", "x", "", 5, 6)).called == "a trial"


def test_only_what_is_listed_is_shown_of_the_tags() -> None:
    values = dict.fromkeys(
        (
            "filter.inlet.pressure.pv",
            "filter.dp.calc",
            "line.state",
            "extruder.screw.speed.pv",
            "extruder.zone.3.temp.sp",
            "line.throughput.calc",
            "filter.inlet.pressure.sp",
            "nobody.thought.of",
        ),
        1.0,
    )
    assert set(tags_for_visitors(values)) == {"filter.inlet.pressure.pv", "filter.dp.calc", "line.state"}
    assert set(tags_for_visitors(values, ["*"])) == {p for p in values if not p.endswith(".sp")}


def test_no_set_point_speed_or_temperature_of_the_catalogue_is_shown() -> None:
    shown = tags_for_visitors({str(one): 1 for one in CATALOGUE})
    assert not [p for p in shown if any(word in p for word in ("speed", ".sp", "temp", "throughput", "rate"))]


def test_names_are_replaced_longest_first_in_any_case() -> None:
    called = {"Folienkreis": "heron", "Folienkreis Lindental": "heron", "": "never"}
    assert without_names("FOLIENKREIS LINDENTAL, folienkreis.", called) == "heron, heron."
    assert without_names("nothing", {}) == "nothing"
