"""Truth files: what is read, and what is said of a wrong one."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from historian.errors import WrongInput
from historian.frame import NS
from rules.backtest.truth import read_truth
from rules.table import RULES
from simulator.run import truth
from simulator.scenarios.file import load_scenario
from tests.rules.backtest.made import T0_NS, at

ONE: dict[str, Any] = {"id": "GT-1", "number": "B1", "onset_ns": at(0)}


def read(*entries: Any) -> Any:
    return read_truth(json.dumps(list(entries)), where="truth.json")


def test_the_least_that_must_be_there() -> None:
    (one,) = read(ONE)
    assert (one.visible_ns, one.end_ns, one.due_ns, one.placed, one.quiet) == (
        at(0),
        None,
        None,
        False,
        False,
    )


def test_a_person_may_write_times_as_text_with_their_zone() -> None:
    """1 900 000 000 s after 1970 are 2030-03-17T17:46:40Z."""
    (one,) = read(
        {"id": "x", "number": "B19", "onset": "2030-03-17T18:46:40.5+01:00", "must_detect_within_s": 60}
    )
    assert one.onset_ns == T0_NS + NS // 2
    assert one.due_ns == one.onset_ns + 60 * NS


def test_nobody_could_see_is_not_the_same_as_seen_at_once() -> None:
    assert read({**ONE, "first_visible_ns": None})[0].visible_ns is None
    assert read(ONE)[0].visible_ns == at(0)


def test_what_it_must_not_be_taken_for_are_the_rules_of_other_faults() -> None:
    (one,) = read({**ONE, "must_not_alarm": ["B2", "plate_half"]})
    assert one.not_for == {"heater-weak"}  # heater-power counts for B1 itself


def test_the_simulators_own_truth_reads() -> None:
    listed = truth(load_scenario("trial_day"), T0_NS)
    found = read(*listed)
    assert [t.id for t in found] == [e["id"] for e in listed]
    assert {t.number for t in found} == {"B14", "B11", "B1"}
    plate = next(t for t in found if t.number == "B1")
    assert plate.placed and plate.within_s == 360.0 and plate.visible_ns is not None


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[\n{]", "line 2"),
        ("{}", "a list"),
        ("[3]", "entry 1"),
        (json.dumps([{"number": "B1"}]), "'id' is missing"),
        (json.dumps([{**ONE, "number": "B99"}]), "number 'B99'"),
        (json.dumps([{"id": "x", "number": "B1"}]), "'onset_ns'"),
        (json.dumps([{**ONE, "onset_ns": 1.5}]), "whole number"),
        (json.dumps([{**ONE, "end_ns": at(-1)}]), "ends before it begins"),
        (json.dumps([{"id": "x", "number": "B1", "onset": "noon"}]), "no time"),
        (json.dumps([{"id": "x", "number": "B1", "onset": "2030-03-17T18:46:40"}]), "zone"),
        (json.dumps([{**ONE, "must_detect_within_s": "soon"}]), "number of seconds"),
        (json.dumps([ONE, ONE]), "there twice"),
    ],
)
def test_what_is_wrong_is_named_with_file_and_remedy(text: str, words: str) -> None:
    with pytest.raises(WrongInput) as wrong:
        read_truth(text, where="trial/truth.json")
    assert str(wrong.value).startswith("trial/truth.json")
    assert words in str(wrong.value)


def test_the_example_of_the_page_reads() -> None:
    page = (Path(__file__).resolve().parents[3] / "docs" / "backtest.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```json\n(.+?)```", page, flags=re.DOTALL)
    plate, start = read_truth(example, where="page")
    assert (plate.number, plate.placed, plate.within_s) == ("B1", True, 360.0)
    assert plate.visible_ns == plate.onset_ns + 40 * NS
    assert plate.not_for == {"heater-weak", "probe-detached"}
    assert start.quiet


def test_a_rule_that_exists_is_not_forgotten() -> None:
    """Every rule counts for a fault, but for the one that tells of the recorder's own pauses."""
    from rules.backtest.matching import BY_FAULT, faults_of

    assert {r for r in RULES if not faults_of(r)} <= {"recording-gap"}
    assert list(BY_FAULT) == [f"B{n}" for n in range(1, 41)]
