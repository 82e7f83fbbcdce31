"""Every key of a scenario file: what is read, and that an impossible one is refused with file, line and reason."""

from __future__ import annotations

from dataclasses import fields

import pytest

from simulator.errors import WrongScenario
from simulator.scenarios.file import read_scenario
from simulator.scenarios.scenario import (
    Analysis,
    LineSheet,
    Lot,
    MaterialSheet,
    MeltFlow,
    Note,
    Sample,
    Screen,
    SourceSheet,
)
from simulator.scenarios.schema import LinePart, MaterialPart

GOOD = """\
[scenario]
title = "Every key"
seed = 7
duration = "60 min"
customer = "Nobody"
trial = "T-1"
opens = "5 min"

[material]
polymer = "LDPE"
lot = "1"
bulk_density_kg_m3 = 290
moisture_percent = 0.42
dirt_percent = 1.4
ash_percent = 1.9
mfr = [{ cel = 190, load_kg = 2.16, g_10min = 1.1 }]
dsc_peaks_cel = [110, 124]

[line]
barrel_zones = 5
plates = 4
fineness_um = 110
blocking = "cake"
wiper_trigger = "dp"
soak = "20 min"

[settings]
"extruder.zone.*.temp.sp" = 200
"filter.plate.2.temp.sp" = 210

[[step]]
at = "0 s"
do = "heating on"

[[step]]
at = "10 min"
do = "screw on"

[[step]]
at = "12 min"
do = "take out"
place = 2

[[step]]
at = "14 min"
do = "put back"
place = 2

[[step]]
at = "15 min"
do = "override on"
key = "soak"

[[step]]
at = "20 min"
do = "screw off"

[[step]]
at = "22 min"
do = "screen change"
serial = "S-2"
fineness_um = 150

[[step]]
at = "24 min"
do = "lot change"
lot = "2"
moisture_percent = 0.9

[[step]]
at = "25 min"
do = "note"
text = "looks wet"

[[step]]
at = "26 min"
do = "probe change"
tag = "water.supply.temp.pv"
to = -0.5

[[fault]]
id = "GT-1"
fault = "sensor_frozen"
tag = "die.pressure.pv"
onset = "30 min"
end = "40 min"

[[fault]]
id = "late"
fault = "source_held"
source = "filter"
onset = "31 min"

[[label]]
id = "GT-1"
text = "frozen"
start = "30 min"
until = "40 min"
fault = "sensor_frozen"
tags = ["die.pressure.pv"]
expected_severity = 2
must_detect_within = "10 min"
must_not_alarm = ["sensor_dead"]

[[label]]
id = "NT-1"
text = "quiet"
start = "1 min"
until = "2 min"
must_stay_quiet = true

[[sample]]
bag = "P1"
at = "35 min"
measures = ["length", "moisture"]
results = "50 min"

[[note]]
at = "5 min"
role = "process lead"
text = "good morning"

[[pre_analysis]]
what = "moisture"
value = 0.42
unit = "%"
method = "loss on drying"

[[source]]
name = "pelletizer"
clock_ahead_s = 7.2
"""


def _refused(text: str) -> str:
    with pytest.raises(WrongScenario) as refusal:
        read_scenario(text, name="t", where="t.toml")
    return str(refusal.value)


def test_every_table_is_read() -> None:
    scenario = read_scenario(GOOD, name="t", where="t.toml")
    assert (scenario.customer, scenario.trial, scenario.opens_s) == ("Nobody", "T-1", 300.0)
    assert scenario.material == MaterialSheet(
        lot="1",
        moisture_percent=0.42,
        mfr=(MeltFlow(190.0, 2.16, 1.1),),
        dsc_peaks_cel=(110.0, 124.0),
    )
    assert scenario.line == LineSheet(plates=4, soak_s=1200.0)
    assert len([p for p in scenario.settings if p.startswith("extruder.zone.")]) == 5
    assert [s.do for s in scenario.steps][-4:] == ["screw off", "screen change", "lot change", "probe change"]
    assert scenario.steps[-3].screen == Screen("S-2", 150.0)
    assert scenario.steps[-2].lot == Lot(lot="2", moisture_percent=0.9)
    assert scenario.faults[0].tag == "die.pressure.pv"
    assert scenario.faults[1].source == "filter"
    assert scenario.labels[0].expected_severity == 2
    assert scenario.labels[0].must_detect_within_s == 600.0
    assert scenario.labels[1].must_stay_quiet
    assert scenario.samples == (Sample("P1", 2100.0, "pellets", ("length", "moisture"), 3000.0),)
    assert scenario.notes == (
        Note(300.0, "process lead", "good morning"),
        Note(1500.0, "operator", "looks wet"),
    )
    assert scenario.pre_analysis == (Analysis("moisture", 0.42, "%", "loss on drying"),)
    assert scenario.sources == (SourceSheet("pelletizer", 7.2),)


def test_what_is_in_the_hopper_follows_the_steps() -> None:
    scenario = read_scenario(GOOD, name="t", where="t.toml")
    assert scenario.material_at(0.0) == scenario.material
    later = scenario.material_at(24 * 60.0)
    assert (later.lot, later.moisture_percent, later.dirt_percent) == ("2", 0.9, 1.4)


def test_the_sheets_know_no_more_and_no_less_than_the_file() -> None:
    assert {f.name for f in fields(MaterialSheet)} == set(MaterialPart.model_fields)
    assert {f.name for f in fields(LineSheet)} == {
        "soak_s" if name == "soak" else name for name in LinePart.model_fields
    }
    part = LinePart()
    for name in LinePart.model_fields:
        assert getattr(LineSheet(), "soak_s" if name == "soak" else name) == getattr(part, name)
    material = MaterialPart(polymer="LDPE")
    for name in MaterialPart.model_fields:
        default = getattr(MaterialSheet(), name)
        assert (list(default) if isinstance(default, tuple) else default) == getattr(material, name)


MISTAKES = [
    # material
    ('polymer = "LDPE"', 'polymer = "LDPF"', "unknown polymer 'LDPF'; did you mean 'LDPE'?"),
    ('polymer = "LDPE"', 'polymer = "glass"', "unknown polymer 'glass'; known: "),
    ("bulk_density_kg_m3 = 290", "bulk_density_kg_m3 = 5", "material.bulk_density_kg_m3: "),
    ("moisture_percent = 0.42", "moisture_percent = -0.1", "material.moisture_percent: "),
    ("moisture_percent = 0.42", "moisture_percent = nan", "material.moisture_percent: "),
    ("dirt_percent = 1.4", "dirt_percent = 21", "material.dirt_percent: "),
    ('opens = "5 min"', 'opens = "61 min"', "'opens' is not before the end of the scenario"),
    ("ash_percent = 1.9", "ash_percent = 61", "material.ash_percent: "),
    (
        "mfr = [{ cel = 190, load_kg = 2.16, g_10min = 1.1 }]",
        "mfr = [{ cel = 190, load_kg = 2.16, g_10min = 0 }]",
        "g_10min",
    ),
    (
        "mfr = [{ cel = 190, load_kg = 2.16, g_10min = 1.1 }]",
        "mfr = [{ cel = 190, load_kg = 2.16 }]",
        "'material.mfr.0.g_10min' is missing",
    ),
    (
        "dsc_peaks_cel = [110, 124]",
        "dsc_peaks_cel = [110, 224]",
        "a peak at 224 Cel would not melt: the hottest set-point is 210 Cel",
    ),
    ('lot = "1"', 'lots = "1"', "unknown key 'material.lots'; did you mean 'lot'?"),
    # line
    ("barrel_zones = 5", "barrel_zones = 2", "line.barrel_zones: "),
    ("fineness_um = 110", "fineness_um = 5", "line.fineness_um: "),
    ('blocking = "cake"', 'blocking = "cakes"', "unknown blocking law 'cakes'; did you mean 'cake'?"),
    ('wiper_trigger = "dp"', 'wiper_trigger = "now"', "unknown wiper trigger 'now'; known: "),
    ('soak = "20 min"', "soak = 20", "20 is not a time"),
    ("plates = 4", "plates = 4\npolymer = 1", "unknown key 'line.polymer'; it belongs to [material]"),
    # settings
    (
        '"extruder.zone.*.temp.sp" = 200',
        '"extruder.zone.6.temp.sp" = 200',
        "place 6, but the line has 5 barrel zones",
    ),
    (
        '"filter.plate.2.temp.sp" = 210',
        '"filter.plate.5.temp.sp" = 210',
        "place 5, but the line has 4 heater plates",
    ),
    (
        '"filter.plate.2.temp.sp" = 210',
        '"filter.plate.0.temp.sp" = 210',
        "place 0, but the line has 4 heater plates",
    ),
    ('"filter.plate.2.temp.sp" = 210', '"pump.speed.sp" = 10', "the line has no melt pump"),
    (
        '"filter.plate.2.temp.sp" = 210',
        '"filter.plate.2.tmp.sp" = 210',
        "did you mean 'filter.plate.2.temp.sp'?",
    ),
    (
        '"filter.plate.2.temp.sp" = 210',
        '"filter.plate.2.temp.pv" = 210',
        "unknown set-point 'filter.plate.2.temp.pv'",
    ),
    ('"filter.plate.2.temp.sp" = 210', '"filter.plate.2.temp.sp" = 500', "outside 0…400 Cel"),
    # steps
    (
        'do = "screw on"',
        'do = "screw one"',
        "unknown act of the operator 'screw one'; did you mean 'screw on'?",
    ),
    (
        'at = "12 min"\ndo = "take out"\nplace = 2',
        'at = "12 min"\ndo = "take out"\nplace = 5',
        "place 5: the line has 4 heater plates",
    ),
    ('do = "take out"\nplace = 2', 'do = "take out"', "'take out' needs 'place'"),
    ('do = "put back"\nplace = 2', 'do = "put back"\nplace = 3', "plate 3 has not been taken out"),
    ('do = "put back"\nplace = 2', 'do = "take out"\nplace = 2', "plate 2 is out already"),
    ('key = "soak"', 'key = "sock"', "unknown permissive 'sock'; did you mean 'soak'?"),
    (
        'do = "screw off"',
        'do = "screw off"\nplace = 1',
        "'place' belongs to do = \"put back\", not to 'screw off'",
    ),
    (
        'at = "20 min"\ndo = "screw off"',
        'at = "10 min"\ndo = "screw off"',
        "'screw off' beside 'screw on' in the same second",
    ),
    (
        'at = "20 min"\ndo = "screw off"',
        'at = "20 min"\ndo = "screw on"',
        "'screen change' while the screw turns",
    ),
    ('serial = "S-2"\n', "", "'screen change' needs 'serial'"),
    ('lot = "2"\nmoisture_percent = 0.9', "", "a lot change says what is new"),
    ("moisture_percent = 0.9", "moisture_percent = 99", "step.7.moisture_percent: "),
    ('text = "looks wet"', "", "'note' needs 'text'"),
    (
        'tag = "water.supply.temp.pv"',
        'tag = "water.supply.tempo.pv"',
        "unknown tag 'water.supply.tempo.pv'; did you mean",
    ),
    ('at = "26 min"', 'at = "61 min"', "the step is not before the end of the scenario"),
    # faults
    (
        'fault = "sensor_frozen"\ntag = "die.pressure.pv"',
        'fault = "sensor_frozn"\ntag = "die.pressure.pv"',
        "unknown fault 'sensor_frozn'; did you mean 'sensor_frozen'?",
    ),
    ('tag = "die.pressure.pv"\n', "", "needs 'tag'"),
    (
        'tag = "die.pressure.pv"',
        'tag = "die.presure.pv"',
        "unknown tag 'die.presure.pv'; did you mean 'die.pressure.pv'?",
    ),
    ('source = "filter"', 'source = "filters"', "unknown source 'filters'; did you mean 'filter'?"),
    ('source = "filter"', 'source = "filter"\nplace = 1', "'source_held' has no 'place'"),
    ('onset = "31 min"', 'onset = "61 min"', "the onset is not before the end of the scenario"),
    ('onset = "31 min"', 'onset = "31 min"\nend = "30 min"', "the end is not after the onset"),
    ('onset = "31 min"', 'onset = "31 min"\nseverity = 1.5', "fault.1.severity: "),
    ('id = "late"', 'id = "GT-1"', "the id 'GT-1' is there twice"),
    ('id = "late"', 'id = "GT-9"', "'GT-9' is ground truth, but no label of that id"),
    (
        'id = "late"\nfault = "source_held"\nsource = "filter"',
        'id = "late"\nfault = "sensor_frozen"\ntag = "die.pressure.pv"',
        "'sensor_frozen' is under way already, by 'GT-1'",
    ),
    (
        'until = "40 min"\nfault = "sensor_frozen"',
        'until = "40 min"\nfault = "sensor_dead"',
        "'sensor_frozen', but the label 'GT-1' says 'sensor_dead'",
    ),
    # labels
    (
        "must_stay_quiet = true",
        "must_stay_quiet = true\nexpected_severity = 3",
        "what must stay quiet has no 'expected_severity'",
    ),
    ('tags = ["die.pressure.pv"]', 'tags = ["die.presure.pv"]', "unknown tag 'die.presure.pv'"),
    ('must_not_alarm = ["sensor_dead"]', 'must_not_alarm = ["dead"]', "unknown fault 'dead'"),
    ("expected_severity = 2", "expected_severity = 5", "label.0.expected_severity: "),
    ('until = "2 min"', 'until = "61 min"', "the label ends after the end of the scenario"),
    ('id = "NT-1"', 'id = "GT-1"', "the id 'GT-1' is there twice"),
    # samples
    (
        'measures = ["length", "moisture"]',
        'measures = ["lenght"]',
        "unknown measure 'lenght'; did you mean 'length'?",
    ),
    ('measures = ["length", "moisture"]', "measures = []", "sample.0.measures: "),
    ('bag = "P1"', 'bag = "P1"\nplace = "discharge"', "'length' is not measured on discharge"),
    ('results = "50 min"', 'results = "34 min"', "the results are not later than the sample"),
    ('at = "35 min"', 'at = "70 min"', "sample.0: the results are not later than the sample"),
    # notes, sources
    ('at = "5 min"', 'at = "99 min"', "the note is not before the end of the scenario"),
    ('name = "pelletizer"', 'name = "pelletiser"', "unknown source 'pelletiser'; did you mean 'pelletizer'?"),
    ("[[pre_analysis]]", "[[preanalysis]]", "unknown key 'preanalysis'; did you mean 'pre_analysis'?"),
]


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    MISTAKES,
    ids=[f"{n} {reason[:40]}" for n, (_, _, reason) in enumerate(MISTAKES)],
)
def test_an_impossible_scenario_is_refused_with_file_line_and_reason(old: str, new: str, reason: str) -> None:
    assert old in GOOD
    text = GOOD.replace(old, new, 1)
    message = _refused(text)
    assert reason in message
    assert all(m.startswith("t.toml:") for m in message.splitlines())


LINES = [
    ("bulk_density_kg_m3 = 290", "bulk_density_kg_m3 = 5"),
    ("moisture_percent = 0.42", "moisture_percent = -0.1"),
    ("barrel_zones = 5", "barrel_zones = 2"),
    ('"filter.plate.2.temp.sp" = 210', '"filter.plate.5.temp.sp" = 210'),
    ('"filter.plate.2.temp.sp" = 210', '"filter.plate.2.temp.sp" = 500'),
    ('do = "screw on"', 'do = "screw one"'),
    ('onset = "31 min"', 'onset = "61 min"'),
    ('tag = "die.pressure.pv"', 'tag = "die.presure.pv"'),
    ("expected_severity = 2", "expected_severity = 5"),
    ('until = "2 min"', 'until = "61 min"'),
    ('at = "26 min"', 'at = "61 min"'),
    ('at = "5 min"', 'at = "99 min"'),
    ('name = "pelletizer"', 'name = "pelletiser"'),
    ('measures = ["length", "moisture"]', 'measures = ["lenght"]'),
]


@pytest.mark.parametrize(("old", "new"), LINES, ids=[new for _, new in LINES])
def test_the_line_that_is_named_is_the_line_of_the_mistake(old: str, new: str) -> None:
    text = GOOD.replace(old, new, 1)
    line = next(
        n for n, (a, b) in enumerate(zip(GOOD.splitlines(), text.splitlines(), strict=True), 1) if a != b
    )
    assert _refused(text).startswith(f"t.toml:{line}: ")


def test_the_screw_switched_on_twice_is_nobodys_mistake() -> None:
    again = '\n[[step]]\nat = "11 min"\ndo = "screw on"\n'
    assert len(read_scenario(GOOD + again, name="t", where="t.toml").steps) == 10
