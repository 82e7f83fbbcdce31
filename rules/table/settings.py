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


def latching_rules(facts: LineFacts) -> frozenset[str]:
    """The rules whose alarms stay until somebody resets them: their own way, or that of the line's file."""
    own = {name: facts.setting(name).latching for name in RULES}
    return frozenset(n for n, rule in RULES.items() if (rule.latching if own[n] is None else own[n]))


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


SCAN_S = 1.0
"""The rules judge once a second: nothing that is shorter can be seen."""


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
    yield from _contradictions_in(rule, setting)


def _contradictions_in(rule: str, setting: RuleSetting) -> Iterable[str]:
    """What each number may be, but not beside the others."""
    about = RULES[rule]

    def number(name: str | None) -> float | None:
        default = None if name is None else about.parameters[name].default
        return None if name is None else setting.numbers.get(name, default)

    on_s, off_s = number(about.on_delay), number(about.off_delay)
    point, band = number(about.set_point), number(about.dead_band)
    if on_s is not None and on_s > about.respond_s:
        yield (
            f"rule {rule}: {about.on_delay} = {on_s:g} s is longer than the {about.respond_s:g} s within "
            "which a person's act still helps; the alarm would come too late: make it shorter"
        )
    if off_s is not None and 0 < off_s < SCAN_S:
        yield (
            f"rule {rule}: {about.off_delay} = {off_s:g} s is shorter than the second in which the rules "
            f"judge once, so it does nothing: give {SCAN_S:g} s or more, or 0 for none"
        )
    if point is not None and band is not None and band > abs(point):
        unit = about.parameters[about.dead_band or ""].unit
        yield (
            f"rule {rule}: {about.dead_band} = {band:g} {unit} is wider than its set point "
            f"{about.set_point} = {point:g}, so the alarm might never end: make it narrower"
        )


def _nearest(name: str, known: Iterable[str]) -> str:
    names = list(known)
    close = get_close_matches(name, names, n=1, cutoff=0.4)
    return f"; the nearest is '{close[0]}'" if close else f"; there are: {', '.join(names)}"
