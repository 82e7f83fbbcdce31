"""What a line's file may say of a rule's numbers beside one another."""

from __future__ import annotations

from dataclasses import replace

import pytest

from historian.errors import WrongInput
from rules.finding import Priority
from rules.line import LineFacts, RuleSetting
from rules.table import RULES, Parameter, Rule
from rules.table.rule import MACHINE
from rules.table.settings import check_settings, latching_rules

TOY = Rule(
    "cause", "consequence", "advice", Priority.LOW, "line", MACHINE, 600,
    {
        "limit_bar": Parameter(50, "bar", "limit", -500, 500),
        "band_bar": Parameter(2, "bar", "dead band", 0, 500),
        "on_s": Parameter(5, "s", "on-delay", 0, 9000),
        "off_s": Parameter(5, "s", "off-delay", 0, 9000),
    },
    "limit_bar", "band_bar", "on_s", "off_s",
)  # fmt: skip


def wrong(monkeypatch: pytest.MonkeyPatch, **numbers: float) -> str:
    monkeypatch.setitem(RULES, "toy", TOY)  # type: ignore[arg-type]
    try:
        check_settings(LineFacts("pilot", rules={"toy": RuleSetting(numbers=numbers)}))
    except WrongInput as error:
        return str(error)
    return ""


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        ({"on_s": 601}, "on_s = 601 s is longer than the 600 s within which a person's act still helps"),
        ({"off_s": 0.5}, "off_s = 0.5 s is shorter than the second"),
        ({"band_bar": 50.5}, "band_bar = 50.5 bar is wider than its set point limit_bar = 50"),
        ({"limit_bar": -1}, "band_bar = 2 bar is wider than its set point limit_bar = -1"),
    ],
)
def test_numbers_that_contradict_each_other_are_named(
    monkeypatch: pytest.MonkeyPatch, numbers: dict[str, float], words: str
) -> None:
    assert words in wrong(monkeypatch, **numbers)


@pytest.mark.parametrize("numbers", [{"on_s": 600}, {"off_s": 0}, {"off_s": 1}, {"band_bar": 50}, {}])
def test_numbers_at_the_edge_are_taken(monkeypatch: pytest.MonkeyPatch, numbers: dict[str, float]) -> None:
    assert not wrong(monkeypatch, **numbers)


def test_all_contradictions_are_told_together(monkeypatch: pytest.MonkeyPatch) -> None:
    said = wrong(monkeypatch, on_s=700, off_s=0.1, band_bar=60)
    assert all(name in said for name in ("on_s", "off_s", "band_bar"))


@pytest.mark.parametrize("rule", RULES)
def test_no_rule_contradicts_itself_by_default(rule: str) -> None:
    check_settings(LineFacts("pilot", rules={rule: RuleSetting()}))


def test_which_rules_latch(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(RULES, "toy", replace(TOY, latching=True))  # type: ignore[arg-type]
    assert "toy" in latching_rules(LineFacts("pilot"))
    facts = LineFacts("pilot", rules={"toy": RuleSetting(latching=False)})
    assert "toy" not in latching_rules(facts)
    other = next(n for n, r in RULES.items() if not r.latching)
    assert other in latching_rules(LineFacts("pilot", rules={other: RuleSetting(latching=True)}))
