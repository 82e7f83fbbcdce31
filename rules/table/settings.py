"""The numbers and words of a rule on one line: its defaults, or what the line's file sets."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from math import isfinite

from historian.errors import WrongInput
from rules.finding import Priority
from rules.line import LineFacts, RuleSetting
from rules.table import RULES

_PRIORITIES = {
    "high": Priority.HIGH,
    "medium": Priority.MEDIUM,
    "low": Priority.LOW,
    "journal": Priority.JOURNAL,
}


@dataclass(frozen=True, slots=True)
class Values:
    """A rule as it is judged on this line: its own numbers and words, or those of the line's file."""

    rule: str
    advice: str
    numbers: Mapping[str, float]
    fixed_priority: Priority | None = None

    def __getitem__(self, name: str) -> float:
        return self.numbers[name]

    def priority(self, own: Priority | None = None) -> Priority:
        """The file's priority, else the one that the detector means, else the rule's."""
        if self.fixed_priority is not None:
            return self.fixed_priority
        return RULES[self.rule].priority if own is None else own


def values_of(facts: LineFacts, rule: str) -> Values:
    """The rule's numbers and words on this line.

    Raises:
        WrongInput: naming the rule, the key and the nearest valid one.
    """
    about, setting = RULES[rule], facts.setting(rule)
    wrong = list(_wrong_in(rule, setting))
    if wrong:
        raise WrongInput("; ".join(wrong))
    return Values(
        rule,
        about.advice if setting.advice is None else setting.advice,
        {name: setting.numbers.get(name, p.default) for name, p in about.parameters.items()},
        None if setting.priority is None else _PRIORITIES[setting.priority],
    )


def check_settings(facts: LineFacts) -> None:
    """Whether every rule that the line's file names exists and has possible settings.

    Raises:
        WrongInput: all that is wrong, in one message.
    """
    wrong: list[str] = []
    for rule, setting in facts.rules.items():
        if rule in RULES:
            wrong.extend(_wrong_in(rule, setting))
        else:
            wrong.append(f"there is no rule '{rule}'{_nearest(rule, RULES)}")
    if wrong:
        raise WrongInput(f"line {facts.name}: " + "; ".join(wrong))


def _wrong_in(rule: str, setting: RuleSetting) -> Iterable[str]:
    if setting.priority is not None and setting.priority not in _PRIORITIES:
        yield f"rule {rule}: priority '{setting.priority}' is none of {', '.join(_PRIORITIES)}"
    parameters = RULES[rule].parameters
    for name, value in setting.numbers.items():
        known = parameters.get(name)
        if known is None:
            yield f"rule {rule}: there is no '{name}'{_nearest(name, parameters)}"
        elif not (isfinite(value) and known.low <= value <= known.high):
            unit = "" if known.unit == "1" else f" {known.unit}"
            yield f"rule {rule}: {name} = {value:g} must lie between {known.low:g} and {known.high:g}{unit}"


def _nearest(name: str, known: Iterable[str]) -> str:
    names = list(known)
    close = get_close_matches(name, names, n=1, cutoff=0.4)
    return f"; the nearest is '{close[0]}'" if close else f"; there are: {', '.join(names)}"
