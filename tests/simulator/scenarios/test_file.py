"""Scenario files: what is read, and that a wrong one is refused with file, line and reason."""

from __future__ import annotations

from pathlib import Path

import pytest

from simulator.errors import WrongScenario
from simulator.faults import tags_of
from simulator.scenarios.file import load_scenario, read_scenario, scenario_names, seconds_of

GOOD = """\
[scenario]
title = "Test flakes"
seed = 7
duration = "10 min"
customer = "Nobody"

[settings]
"filter.plate.*.temp.sp" = 210
"doser.rate.sp" = 300

[[step]]
at = "1 min 30 s"
do = "set"
tag = "doser.rate.sp"
to = 350
over = "2 min"

[[step]]
at = "0 s"
do = "heating on"

[[fault]]
id = "one"
fault = "plate_open"
place = 3
onset = "2 min"
end = "5 min"

[[label]]
id = "quiet"
text = "nothing yet"
start = "0 s"
until = "2 min"

[material]
polymer = "LDPE"

[line]
plates = 4
"""


def _refused(text: str) -> str:
    with pytest.raises(WrongScenario) as refusal:
        read_scenario(text, name="t", where="t.toml")
    return str(refusal.value)


def test_a_good_file_is_read() -> None:
    scenario = read_scenario(GOOD, name="t", where="t.toml")
    assert (scenario.name, scenario.title, scenario.seed, scenario.duration_s) == (
        "t",
        "Test flakes",
        7,
        600.0,
    )
    assert scenario.settings == {
        "doser.rate.sp": 300.0,
        **{f"filter.plate.{n}.temp.sp": 210.0 for n in (1, 2, 3, 4)},
    }
    assert [(s.at_s, s.do, s.to, s.over_s) for s in scenario.steps] == [
        (0.0, "heating on", 0.0, 0.0),
        (90.0, "set", 350.0, 120.0),
    ]
    (fault,) = scenario.faults
    assert (fault.onset_s, fault.end_s, fault.place) == (120.0, 300.0, 3)
    assert tags_of(fault) == ("filter.plate.3.temp.pv", "filter.plate.3.out", "filter.plate.3.i")
    assert scenario.without_faults().faults == ()
    assert scenario.without_faults().steps == scenario.steps


@pytest.mark.parametrize(
    ("old", "new", "line", "reason"),
    [
        ("seed = 7", "seed = 7\nseeds = 7", 4, "unknown key 'scenario.seeds'; did you mean 'seed'?"),
        ("seed = 7\n", "", 1, "'scenario.seed' is missing"),
        ('"plate_open"', '"plate_opn"', 24, "unknown fault 'plate_opn'; did you mean 'plate_open'?"),
        ('end = "5 min"', 'end = "1 min"', 22, "the end is not after the onset"),
        ('end = "5 min"', 'end = "2 min"', 22, "the end is not after the onset"),
        ('onset = "2 min"\nend = "5 min"', 'onset = "20 min"', 26, "not before the end of the scenario"),
        ("place = 3", "place = 5", 25, "the line has 4 heater plates"),
        ("place = 3\n", "", 22, "needs 'place'"),
        ('"2 min"\n\n[[step]]', '"two"\n\n[[step]]', 16, "is not a time"),
        ('tag = "doser.rate.sp"', 'tag = "doser.rat.sp"', 14, "did you mean 'doser.rate.sp'?"),
        ("to = 350", "to = 35000", 15, "outside 0…3000 kg/h"),
        ("= 210", "= 900", 8, "outside 0…400 Cel"),
        ('"doser.rate.sp" = 300', '"doser.rate.pv" = 300', 9, "unknown set-point 'doser.rate.pv'"),
        ('do = "heating on"', 'do = "explode"', 20, "step.1.do"),
        ('do = "heating on"', 'do = "heating on"\nto = 3', 18, "belongs to do"),
        ('until = "2 min"', 'until = "0 s"', 29, "'until' is not after the start"),
        ("[[label]]", "[[lable]]", 29, "unknown key 'lable'; did you mean 'label'?"),
        ("plates = 4", "plates = = 4", 39, "not TOML"),
    ],
)
def test_a_wrong_file_is_refused_with_file_line_and_reason(
    old: str, new: str, line: int, reason: str
) -> None:
    assert GOOD.count(old) == 1
    message = _refused(GOOD.replace(old, new))
    assert message.startswith(f"t.toml:{line}: ")
    assert reason in message


def test_all_mistakes_are_told_together() -> None:
    message = _refused(GOOD.replace("seed = 7", "seeds = 7").replace('"plate_open"', '"fire"'))
    assert len(message.splitlines()) == 3


def test_an_id_may_be_there_once_only() -> None:
    again = '\n[[fault]]\nid = "one"\nfault = "contam_up"\nonset = "3 min"\n'
    assert "the id 'one' is there twice" in _refused(GOOD + again)


def test_a_name_that_is_not_known_names_those_that_are(tmp_path: Path) -> None:
    with pytest.raises(WrongScenario, match=r"known are .*trial_day"):
        load_scenario("trial-day")
    with pytest.raises(WrongScenario, match=r"nothing\.toml: the scenario cannot be read"):
        load_scenario(tmp_path / "nothing.toml")


def test_a_file_of_ones_own_is_loaded(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(GOOD, encoding="utf-8")
    assert load_scenario(file).name == "mine"


@pytest.mark.parametrize("name", scenario_names())
def test_every_scenario_that_comes_along_is_good(name: str) -> None:
    scenario = load_scenario(name)
    assert scenario.name == name
    assert scenario.faults


@pytest.mark.parametrize(
    ("text", "seconds"), [("90 s", 90.0), ("240 min 90 s", 14490.0), ("1 h 30 min", 5400.0)]
)
def test_times_are_read(text: str, seconds: float) -> None:
    assert seconds_of(text) == seconds


@pytest.mark.parametrize("text", ["", "5", "5 days", "s", "-3 s", 17])
def test_what_is_no_time_is_refused(text: object) -> None:
    with pytest.raises(ValueError, match="is not a time"):
        seconds_of(text)
