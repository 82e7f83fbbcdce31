"""Which detectors a line gets, and what its file may say of them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from historian.catalogue import CATALOGUE
from historian.errors import WrongInput
from historian.tags import Tag, TagKind
from rules.detectors import detectors_for
from rules.detectors.recording import HEARTBEAT
from rules.finding import Priority
from rules.line import RuleSetting
from rules.table import RULES
from rules.table.settings import check_settings
from tests.rules.detectors.plants import FACTS, Filter, Plates
from tests.rules.detectors.signals import tags_of

TAGS = {
    **tags_of([*Plates(1).made(), *Filter(1).made()]),
    HEARTBEAT: Tag(HEARTBEAT, "1", TagKind.BOOLEAN, source="edge", id=999),
}


EVERYTHING = {
    **tags_of([p.replace("*", "1") for p in CATALOGUE]),
    **tags_of([*Plates(1).made(), *Filter(1).made()]),
    HEARTBEAT: TAGS[HEARTBEAT],
}
"""Every canonical tag, with a single place where places are numbered, and the plates."""


def test_a_line_with_everything_gets_every_rule():
    found = [d.rule for d in detectors_for(FACTS, EVERYTHING)]
    assert found[0] == "stage" and sorted(found[1:]) == sorted(RULES)


def test_a_line_gets_what_its_signals_allow():
    assert detectors_for(FACTS, {}) == []
    only_plates = {d.rule for d in detectors_for(FACTS, tags_of(Plates(1).made()))}
    assert {"stage", "heater-power", "source-silent"} <= only_plates
    assert not only_plates & {"pressure-creep", "cleaning-overdue", "pressure-zero", "recording-gap"}
    assert "pressure-creep" not in [d.rule for d in detectors_for(replace(FACTS, melt_filter=None), TAGS)]


def test_a_rule_can_be_switched_off():
    facts = replace(FACTS, rules={"heater-power": RuleSetting(enabled=False)})
    assert "heater-power" not in [d.rule for d in detectors_for(facts, TAGS)]


@pytest.mark.parametrize(
    ("rules", "words"),
    [
        ({"heater-powr": RuleSetting()}, "there is no rule 'heater-powr'; the nearest is 'heater-power'"),
        (
            {"pressure-creep": RuleSetting(numbers={"horizn_s": 60})},
            "rule pressure-creep: there is no 'horizn_s'; the nearest is 'horizon_s'",
        ),
        (
            {"pressure-creep": RuleSetting(numbers={"horizon_s": -1})},
            "rule pressure-creep: horizon_s = -1 must lie between 60 and 86400 s",
        ),
        ({"recording-gap": RuleSetting(numbers={"gap_s": float("nan")})}, "gap_s = nan must lie between"),
        ({"heater-power": RuleSetting(priority="urgent")}, "priority 'urgent' is none of"),
    ],
)
def test_what_is_wrong_in_the_file_is_named(rules: dict[str, RuleSetting], words: str):
    with pytest.raises(WrongInput) as error:
        detectors_for(replace(FACTS, rules=rules), {})
    assert words in str(error.value) and "test line" in str(error.value)


def test_all_mistakes_are_told_together():
    rules = {"heater-power": RuleSetting(numbers={"x": 1}), "cleaning-overdue": RuleSetting(numbers={"y": 1})}
    with pytest.raises(WrongInput, match=r"'x'.*'y'"):
        check_settings(replace(FACTS, rules=rules))


@pytest.mark.parametrize("rule", RULES)
def test_every_rule_says_what_a_person_needs(rule: str):
    about = RULES[rule]
    assert about.cause and about.consequence and about.advice and about.priority in Priority
    for name, parameter in about.parameters.items():
        assert parameter.low <= parameter.default <= parameter.high, name
        assert parameter.text and parameter.unit, name


FORBIDDEN = ("safe", "cold", "pressure-free", "keep running", "restart", "must run")


@pytest.mark.parametrize("rule", RULES)
def test_no_advice_calls_a_machine_safe_or_orders_it_to_run(rule: str):
    assert not [w for w in FORBIDDEN if w in RULES[rule].advice.lower()]
