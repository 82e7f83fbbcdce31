"""What a variable may be: by words of four languages, unit and value; what is unclear is asked."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.discovery import Confidence
from collector.discovery.meanings import READINGS
from collector.discovery.proposal import MOST_READINGS, Hints, propose
from collector.discovery.space import Span
from collector.discovery.words import read_words
from collector.reading.told_unit import ToldUnit
from historian.catalogue import CATALOGUE
from historian.tags import check_path, pattern_of

BAR, CEL, RPM, AMP, KGH, PERCENT = (ToldUnit(-1, u) for u in ("bar", "°C", "1/min", "A", "kg/h", "%"))

CLEAR = [
    (("T_Extruder_Zone3_Ist",), CEL, "extruder.zone.3.temp.pv"),
    (("Zylinder 4 Temperatur Sollwert",), CEL, "extruder.zone.4.temp.sp"),
    (("Temp zona 2 extrusora consigna",), CEL, "extruder.zone.2.temp.sp"),
    (("Temperatura zona 5 estrusore",), CEL, "extruder.zone.5.temp.pv"),
    (("Schneckendrehzahl Ist",), RPM, "extruder.screw.speed.pv"),
    (("velocidad husillo consigna",), RPM, "extruder.screw.speed.sp"),
    (("MainDriveCurrent",), AMP, "extruder.drive.current.pv"),
    (("corrente motore principale",), AMP, "extruder.drive.current.pv"),
    (("Massedruck_vor_Sieb",), BAR, "filter.inlet.pressure.pv"),
    (("Pressione dopo filtro",), BAR, "filter.outlet.pressure.pv"),
    (("PRESION SALIDA FILTRO",), BAR, "filter.outlet.pressure.pv"),
    (("Filter_Pressure_Inlet",), BAR, "filter.inlet.pressure.pv"),
    (("FilterDP",), BAR, "filter.dp.calc"),
    (("Heizplatte 7 Temp",), CEL, "filter.plate.7.temp.pv"),
    (("Heizplatte 7 Strom",), AMP, "filter.plate.7.i"),
    (("Druck vor Pumpe Sollwert",), BAR, "pump.inlet.pressure.sp"),
    (("Messerdrehzahl",), RPM, "pelletizer.knife.speed.pv"),
    (("velocità coltelli",), RPM, "pelletizer.knife.speed.pv"),
    (("Wassertemperatur Vorlauf",), CEL, "water.supply.temp.pv"),
    (("Caudal agua",), ToldUnit(-1, "m³/h"), "water.flow.pv"),
    (("Dosierer Durchsatz Soll",), KGH, "doser.rate.sp"),
    (("Portata dosatore",), KGH, "doser.rate.pv"),
    (("Corriente secadora",), AMP, "dryer.current.pv"),
    (("filter.inlet.pressure.pv",), BAR, "filter.inlet.pressure.pv"),
    (("HMI_017", "Massetemperatur Schneckenspitze"), CEL, "extruder.melt.temp.pv"),
]


@pytest.mark.parametrize(("names", "unit", "tag"), CLEAR)
def test_what_words_and_unit_say_is_proposed(names: tuple[str, ...], unit: ToldUnit, tag: str) -> None:
    proposal = propose(Hints(names, unit=unit))
    assert (proposal.readings, proposal.confidence) == ((tag,), Confidence.HIGH)
    assert proposal.reason


@pytest.mark.parametrize(
    ("names", "around", "readings"),
    [
        (("Zone3_Temp",), (), {"extruder.zone.3.temp.pv", "filter.plate.3.temp.pv", "die.zone.3.temp.pv", "pump.zone.3.temp.pv"}),
        (("Filter pressure",), (), {"filter.inlet.pressure.pv", "filter.outlet.pressure.pv"}),
        (("Druck", "vor"), (), {"filter.inlet.pressure.pv", "pump.inlet.pressure.pv"}),
    ],
)  # fmt: skip
def test_what_may_be_several_is_a_question(
    names: tuple[str, ...], around: tuple[str, ...], readings: set[str]
) -> None:
    proposal = propose(Hints(names, around))
    assert readings <= set(proposal.readings) and len(proposal.readings) > 1


@pytest.mark.parametrize(
    "names",
    [("AI_07",), ("Pressure",), ("Temperature",), ("Setpoint 3",), ("DB10.DBD4",), ("",), ("Alarm count",)],
)
def test_what_says_nothing_is_not_guessed(names: tuple[str, ...]) -> None:
    proposal = propose(Hints(names, unit=BAR))
    assert proposal.readings == ()
    assert proposal.reason


def test_what_is_around_tells_where_names_do_not() -> None:
    assert propose(Hints(("Temp",), ("Zone_3", "Extruder"), CEL)).readings == ("extruder.zone.3.temp.pv",)
    assert propose(Hints(("Current",), ("Dryer",), AMP)).readings == ("dryer.current.pv",)
    # A name's own words count more than where it stands.
    assert propose(Hints(("WaterPressure",), ("Pelletizer",), BAR)).readings == ("water.pressure.pv",)


def test_a_unit_that_measures_something_else_speaks_against_it() -> None:
    assert propose(Hints(("Massedruck vor Sieb",), unit=CEL)).readings == ()


def test_a_unit_alone_says_what_is_measured() -> None:
    assert propose(Hints(("Prozesswasser Rücklauf",), unit=CEL)).readings == ("water.return.temp.pv",)


@pytest.mark.parametrize(
    ("unit", "value", "span", "confidence"),
    [
        (BAR, 93.0, None, Confidence.HIGH),
        (BAR, 9300.0, None, Confidence.LOW),
        (ToldUnit(-1, "psi"), 1500.0, None, Confidence.HIGH),
        (BAR, None, Span(0, 500), Confidence.HIGH),
        (BAR, None, Span(0, 27648), Confidence.LOW),
        (None, 93.0, None, Confidence.MEDIUM),
        (None, 9300.0, None, Confidence.LOW),
        (ToldUnit(-1, "furlong"), 93.0, None, Confidence.MEDIUM),
    ],
)
def test_confidence_is_as_good_as_unit_and_value(
    unit: ToldUnit | None, value: float | None, span: Span | None, confidence: Confidence
) -> None:
    proposal = propose(Hints(("Massedruck vor Sieb",), unit=unit, value=value, span=span))
    assert (proposal.readings, proposal.confidence) == (("filter.inlet.pressure.pv",), confidence)


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("Zone3", 3),
        ("ZONE_03_T", 3),
        ("DB10_Zone2", 2),
        ("T 5", 5),
        ("DB10", None),
        ("Zone 2 Zone 3", None),
        ("Nr. 4", 4),
    ],
)
def test_a_place_number_stands_beside_what_it_counts(text: str, number: int | None) -> None:
    assert read_words([text]).number == number


def test_places_are_counted_from_one() -> None:
    proposal = propose(Hints(("Extruder zone 0 temp",), unit=CEL))
    assert (proposal.readings, proposal.from_zero) == ((), "extruder.zone.*.temp.pv")


@given(
    st.lists(st.text(max_size=40), max_size=3),
    st.lists(st.text(max_size=20), max_size=3),
    st.floats(allow_nan=False),
)
def test_whatever_is_written_a_proposal_is_a_known_tag(
    names: list[str], around: list[str], value: float
) -> None:
    proposal = propose(Hints(tuple(names), tuple(around), value=value))
    assert len(proposal.readings) <= MOST_READINGS
    for tag in proposal.readings:
        assert pattern_of(check_path(tag)) in CATALOGUE


def test_every_reading_is_a_canonical_tag() -> None:
    assert {r.tag for r in READINGS} <= set(CATALOGUE)
