"""Every rule of a line in the columns of a rationalisation, and whose each value is."""

from __future__ import annotations

import json

import pytest

from rules.line import LineFacts, RuleSetting
from rules.table import RULES
from rules.table.rationalisation import COLUMNS, JUDGED, NOT_POSSIBLE, SWITCHED_OFF, rationalised


def row(rule: str, facts: LineFacts | None = None, judged: tuple[str, ...] = ()) -> dict[str, str]:
    rows = [r.row() for r in rationalised(facts or LineFacts("pilot"), judged)]
    return next(r for r in rows if r["rule"] == rule)


def test_every_rule_has_every_column_filled() -> None:
    rows = [r.row() for r in rationalised(LineFacts("pilot"), RULES)]
    assert [r["rule"] for r in rows] == list(RULES)
    for one in rows:
        assert list(one) == list(COLUMNS)
        assert all(text.strip() for text in one.values()), one


def test_a_value_says_whether_it_is_the_default_or_the_lines() -> None:
    default = row("cleaning-overdue")
    assert (default["set_point"], default["on_delay"]) == ("0.3 bar (default)", "6 s (default)")
    assert default["priority"] == "medium (default)" and default["latching"] == "no (default)"
    setting = RuleSetting(priority="low", advice="Ask Ada.", numbers={"over_bar": 4.5}, latching=True)
    own = row("cleaning-overdue", LineFacts("pilot", rules={"cleaning-overdue": setting}))
    assert (own["set_point"], own["on_delay"]) == ("4.5 bar (line)", "6 s (default)")
    assert (own["priority"], own["latching"]) == ("low (line)", "yes (line)")
    assert own["advice"] == "Ask Ada. (line)"
    assert "interval_factor: 1.25 (default)" in own["others"]


def test_a_rule_says_whether_it_is_judged_and_why_not() -> None:
    assert row("source-silent", judged=("source-silent",))["judged"] == JUDGED
    assert row("source-silent")["judged"] == NOT_POSSIBLE
    off = LineFacts("pilot", rules={"source-silent": RuleSetting(enabled=False)})
    assert row("source-silent", off)["judged"] == SWITCHED_OFF


def test_for_machines_a_value_has_its_unit() -> None:
    (one,) = [
        r.to_json() for r in rationalised(LineFacts("pilot"), ()) if r.texts["rule"] == "cleaning-overdue"
    ]
    assert json.loads(json.dumps(one))["set_point"] == {"value": 0.3, "unit": "bar", "from": "default"}
    assert one["dead_band"] is None


@pytest.mark.parametrize("rule", RULES)
def test_the_named_parameters_exist(rule: str) -> None:
    about = RULES[rule]
    for name in (about.set_point, about.dead_band, about.on_delay, about.off_delay):
        assert name is None or name in about.parameters
