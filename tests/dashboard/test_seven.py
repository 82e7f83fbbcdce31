"""The seven figures and the lines beside them."""

from __future__ import annotations

import pytest

from dashboard.cleaning_watch import CleaningWatch
from dashboard.now import Now
from dashboard.seven import NOT_PROOF, readings
from dashboard.views import Reading, Trust
from dashboard.zones import zones_of, zones_sentence
from historian.catalogue import canonical_tag
from historian.frame import NS
from historian.quality import NO_COMMUNICATION
from historian.store import Sample
from rules.line import LineFacts, MeltFilter

T0 = 1_777_874_400 * NS
FACTS = LineFacts("pilot-2", MeltFilter(plates=2, trigger_dp_bar=45.0), planned_kg_h=640.0)
VALUES = {
    "doser.rate.pv": 638.0,
    "doser.rate.sp": 640.0,
    "filter.inlet.pressure.pv": 92.4,
    "filter.outlet.pressure.pv": 58.1,
    "extruder.melt.temp.pv": 221.4,
    "extruder.drive.torque.pv": 64.2,
    "filter.wiper.state": 0.0,
    "filter.plate.1.temp.pv": 219.0,
    "filter.plate.1.temp.sp": 220.0,
    "filter.plate.2.temp.pv": 212.6,
    "filter.plate.2.temp.sp": 220.0,
}


def line(changes: dict[str, Sample | float | None] | None = None) -> Now:
    """The values above, fresh and good, with changes; None takes a tag off the line."""
    values = {**VALUES, **(changes or {})}
    tags = {p: canonical_tag(p, source="plc") for p, v in values.items() if v is not None}
    latest = {
        p: v if isinstance(v, Sample) else Sample(T0, v, 0, T0) for p, v in values.items() if v is not None
    }
    return Now(tags, latest, T0 + NS, "UTC")


def figures(now: Now) -> dict[str, Reading]:
    return {r.key: r for r in readings(now, CleaningWatch(), FACTS, zones_of(now))}


def test_there_are_seven_at_most_and_each_has_a_unit() -> None:
    made = figures(line())
    assert list(made) == ["throughput", "pressures", "dp", "melt", "torque", "cleaning", "zone"]
    assert made["pressures"].text == "92 | 58"
    assert made["dp"].text == "34.3"
    assert made["dp"].note == "10.7 bar to the trigger"
    assert (made["zone"].text, made["zone"].note) == ("−7.4", "plate 2")
    assert {k: r.unit for k, r in made.items()} == {
        "throughput": "kg/h",
        "pressures": "bar",
        "dp": "bar",
        "melt": "°C",
        "torque": "%",
        "cleaning": "",
        "zone": "K",
    }


def test_a_lost_signal_has_words_instead_of_digits() -> None:
    made = figures(line({"extruder.melt.temp.pv": Sample(T0, float("nan"), NO_COMMUNICATION, T0)}))
    assert made["melt"] == Reading(
        "melt", "Melt temperature", "", "°C", "", Trust.LOST, "no data since 06:00:00 (source lost)"
    )


def test_one_lost_pressure_leaves_the_other_and_takes_the_difference() -> None:
    made = figures(line({"filter.outlet.pressure.pv": Sample(T0, float("nan"), NO_COMMUNICATION, T0)}))
    assert made["pressures"].text == "92 | –"
    assert made["pressures"].why.startswith("after: no data since 06:00:00")
    assert made["pressures"].trust is Trust.LOST
    assert made["dp"].text == ""


def test_pressures_of_different_seconds_give_a_doubted_difference() -> None:
    old = Sample(T0 - 4 * NS, 58.1, 0, T0)
    assert figures(line({"filter.outlet.pressure.pv": old}))["dp"].trust is Trust.UNCERTAIN


def test_a_pressure_near_zero_says_that_it_proves_nothing() -> None:
    assert figures(line({"filter.inlet.pressure.pv": 0.4}))["pressures"].note == NOT_PROOF
    assert figures(line())["pressures"].note != NOT_PROOF


def test_what_the_line_does_not_measure_is_told_as_that() -> None:
    assert figures(line({"extruder.drive.torque.pv": None}))["torque"].why == "not measured on this line"


def test_over_the_trigger_is_told() -> None:
    assert figures(line({"filter.inlet.pressure.pv": 110.0}))["dp"].note == "6.9 bar over the trigger"


def test_a_plate_that_was_taken_out_is_not_the_worst_zone() -> None:
    now = line({"filter.plate.2.enabled.state": 0.0})
    assert figures(now)["zone"].note == "plate 1"
    assert zones_sentence(zones_of(now)) == "plate 1 −1.0 K (219 of 220 °C) · taken out: plate 2"


@pytest.mark.parametrize("silent", [1, 2])
def test_zones_without_data_are_counted_not_passed_over(silent: int) -> None:
    lost = Sample(T0, float("nan"), NO_COMMUNICATION, T0)
    now = line({f"filter.plate.{n}.temp.pv": lost for n in range(1, silent + 1)})
    made = figures(now)["zone"]
    if silent == 1:
        assert made.note == "plate 2 · 1 without data"
        assert "no data: plate 1" in zones_sentence(zones_of(now))
    else:
        assert (made.text, made.why) == ("", "no data from 2 zones")
