"""A source's own unit counts where nobody said one; where it contradicts the line's file, the tag is refused."""

from __future__ import annotations

import pytest

from collector.reading.channel import Channel
from collector.reading.mapping import Reading, TagMapping
from collector.reading.told_unit import ToldUnit, settled
from historian.catalogue import canonical_tag
from historian.errors import UnitMismatch
from historian.quality import GOOD
from historian.tags import Tag
from historian.units import unece_number

PRESSURE = canonical_tag("filter.inlet.pressure.pv")
MELT = canonical_tag("extruder.melt.temp.pv")


def mapping(tag: Tag, unit: str, *, assumed: bool = False, channel: Channel | None = None) -> TagMapping:
    return TagMapping(tag.path, "X", unit, channel=channel, unit_assumed=assumed)


@pytest.mark.parametrize(
    ("number", "text", "unit"),
    [
        (unece_number("BAR"), "bar", "bar"),
        (unece_number("RPM"), "r/min", "/min"),
        (-1, "°C", "Cel"),
        (-1, "furlong", "m"),  # not known: the line's file holds
        (0, "", "bar"),
        (unece_number("HTZ"), "Hz", "/s"),
        (-1, "bar(g)", "bar"),
    ],
)
def test_a_unit_that_agrees_changes_nothing(number: int, text: str, unit: str) -> None:
    own = Tag("own.thing.pv", unit)
    said = mapping(own, unit)
    assert settled(said, own, ToldUnit(number, text)) is said


@pytest.mark.parametrize(
    ("number", "text", "unit"),
    [
        (unece_number("MPA"), "MPa", "bar"),
        (unece_number("FAH"), "°F", "Cel"),
        (unece_number("CEL"), "bar", "bar"),  # the number counts, not the text
        (-1, "kg/h", "bar"),
    ],
)
def test_a_unit_that_contradicts_the_file_is_refused_naming_both(number: int, text: str, unit: str) -> None:
    own = Tag("own.thing.pv", unit)
    with pytest.raises(UnitMismatch, match=f"says {text}, the line's file says {unit}"):
        settled(mapping(own, unit), own, ToldUnit(number, text))


def test_where_nobody_said_a_unit_the_sources_is_converted() -> None:
    settled_to = settled(
        mapping(PRESSURE, "bar", assumed=True), PRESSURE, ToldUnit(unece_number("MPA"), "MPa")
    )
    assert Reading(settled_to, PRESSURE).take(12.5, GOOD) == (125.0, GOOD)
    melt = settled(mapping(MELT, "Cel", assumed=True), MELT, ToldUnit(-1, "°F"))
    assert Reading(melt, MELT).take(392.0, GOOD)[0] == pytest.approx(200.0)
    kelvin = settled(mapping(MELT, "Cel", assumed=True), MELT, ToldUnit(unece_number("KEL"), "K"))
    assert Reading(kelvin, MELT).take(473.15, GOOD)[0] == pytest.approx(200.0)


def test_another_dimension_is_refused_even_where_nobody_said_a_unit() -> None:
    with pytest.raises(UnitMismatch, match="do not measure the same"):
        settled(mapping(PRESSURE, "bar", assumed=True), PRESSURE, ToldUnit(unece_number("CEL"), "°C"))


def test_a_difference_of_temperatures_never_becomes_a_temperature() -> None:
    rise = Tag("own.rise.calc", "K{diff}")
    for text in ("°C", "°F"):
        with pytest.raises(UnitMismatch, match="difference of temperatures"):
            settled(mapping(rise, "K{diff}", assumed=True), rise, ToldUnit(-1, text))


@pytest.mark.parametrize("text", ["bar(a)", "psia", "mbar abs"])
@pytest.mark.parametrize("assumed", [True, False])
def test_absolute_pressure_never_becomes_gauge(text: str, assumed: bool) -> None:
    for number in (-1, unece_number("BAR")):
        with pytest.raises(UnitMismatch, match="never mixed"):
            settled(mapping(PRESSURE, "bar", assumed=assumed), PRESSURE, ToldUnit(number, text))
    with pytest.raises(UnitMismatch, match="never mixed"):
        settled(mapping(PRESSURE, "bar", assumed=assumed), PRESSURE, ToldUnit(unece_number("80"), "lb/in²"))
    vacuum = canonical_tag("extruder.vent.1.pressure.pv")
    assert vacuum.reference == "absolute"
    with pytest.raises(UnitMismatch, match="never mixed"):
        settled(mapping(vacuum, vacuum.unit, assumed=assumed), vacuum, ToldUnit(-1, "mbar(g)"))


def test_a_channel_takes_its_signals_unit_from_the_source() -> None:
    loop = Channel("4-20 mA", 0, 250, "bar")
    in_a = settled(mapping(PRESSURE, "mA", assumed=True, channel=loop), PRESSURE, ToldUnit(-1, "A"))
    assert Reading(in_a, PRESSURE).take(0.012, GOOD)[0] == pytest.approx(125.0)
    with pytest.raises(UnitMismatch, match="delivers mA"):
        settled(mapping(PRESSURE, "mA", assumed=True, channel=loop), PRESSURE, ToldUnit(-1, "bar"))
    counts = mapping(PRESSURE, "1", channel=Channel("4-20 mA", 0, 250, "bar", (0, 27648)))
    assert settled(counts, PRESSURE, ToldUnit(-1, "mA")) is counts


def test_one_is_what_a_source_tells_where_nobody_set_a_unit() -> None:
    torque = canonical_tag("pelletizer.knife.torque.pv")
    said = mapping(torque, "%")
    assert settled(said, torque, ToldUnit(unece_number("C62"), "")) is said
    with pytest.raises(UnitMismatch, match="write the unit"):
        settled(mapping(torque, "%", assumed=True), torque, ToldUnit(unece_number("C62"), "1"))
    switch = canonical_tag("extruder.enable.state")
    assumed = mapping(switch, "1", assumed=True)
    assert settled(assumed, switch, ToldUnit(unece_number("C62"), "1")) is assumed
