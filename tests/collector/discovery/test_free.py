"""Free address spaces: everything is to be confirmed, nothing is kept as a known tag, and doubts are told."""

from __future__ import annotations

from collector.discovery import Standing, discover
from collector.discovery.space import Told
from collector.reading.told_unit import ToldUnit
from tests.collector.discovery.spaces import BOOLEAN, Growing

CEL = ToldUnit(-1, "°C")


def test_a_proposal_is_kept_under_a_neutral_name_until_it_is_confirmed() -> None:
    growing = Growing()
    growing.variable("PLC/Filter/PressureBefore", 93.0, ToldUnit(-1, "bar"))
    (finding,) = discover(growing.space()).findings
    assert (finding.standing, finding.path, finding.becomes) == (
        Standing.CONFIRM,
        "found.plc.filter.pressure_before",
        "filter.inlet.pressure.pv",
    )


def test_what_a_description_says_counts() -> None:
    growing = Growing()
    growing.variable("PLC/DB10/R044", 210.0, CEL, text="Massetemperatur vor Sieb")
    (finding,) = discover(growing.space()).findings
    assert (finding.becomes, finding.text) == ("filter.inlet.melt_temp.pv", "Massetemperatur vor Sieb")


def test_texts_lists_and_switches_are_no_measured_values() -> None:
    growing = Growing()
    growing.variable("PLC/Recipe", "LDPE")
    growing.variable("PLC/Zone 1 temperature of extruder ok", value=True, data_type=BOOLEAN)
    growing.add("i=85", "Curve", told=Told(None, "i=11", is_scalar=False))
    found = discover(growing.space())
    assert [f.standing for f in found.findings] == [Standing.UNKNOWN]
    assert found.texts == 2


def test_a_machine_that_counts_from_zero_makes_every_place_a_question() -> None:
    growing = Growing()
    for number in range(3):
        growing.variable(f"Extruder/Zone{number}Temp", 200.0, CEL)
    found = discover(growing.space())
    assert {f.readings for f in found.of(Standing.AMBIGUOUS)} == {
        ("extruder.zone.1.temp.pv", "extruder.zone.2.temp.pv"),
        ("extruder.zone.2.temp.pv", "extruder.zone.3.temp.pv"),
    }
    assert len(found.of(Standing.UNKNOWN)) == 1 and not found.of(Standing.CONFIRM)


def test_two_that_are_proposed_for_one_tag_say_so() -> None:
    growing = Growing()
    growing.variable("PLC/ExtruderZone1Temp", 200.0, CEL)
    growing.variable("HMI/ExtruderZone1Temp", 200.0, CEL)
    findings = discover(growing.space()).findings
    assert len(findings) == 2 and all("only one can be" in f.reason for f in findings)


def test_names_that_differ_only_in_writing_are_told_apart() -> None:
    growing = Growing()
    one, two = growing.variable("PLC/Temp A", 1.0), growing.variable("PLC/temp_a", 1.0)
    paths = {f.address: f.path for f in discover(growing.space()).findings}
    assert paths[one] != paths[two]
    assert {f.address: f.path for f in discover(growing.space(5)).findings} == paths
