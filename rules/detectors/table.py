"""Every rule by name: what it means, what to do about it, and which numbers a line's file may set."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from math import isfinite

from historian.errors import WrongInput
from rules.finding import Priority
from rules.line import LineFacts, RuleSetting


@dataclass(frozen=True, slots=True)
class Parameter:
    """A number of a rule that the line's file may set.

    Attributes:
        default, low, high: in the unit.
        unit: UCUM code.
        text: what it is.
    """

    default: float
    unit: str
    text: str
    low: float = 0.0
    high: float = 1e6


@dataclass(frozen=True, slots=True)
class Rule:
    """What is written about a rule.

    Attributes:
        cause: what may be behind it.
        consequence: what happens when nobody acts.
        advice: what a person may do, and whose decision it is.
        priority: the rule's own.
        parameters: name with its unit → meaning and bounds.
    """

    cause: str
    consequence: str
    advice: str
    priority: Priority
    parameters: Mapping[str, Parameter] = field(default_factory=dict)


RULES: Mapping[str, Rule] = {
    "heater-power": Rule(
        cause="A heating element, its wire, fuse or relay is open; or the temperature sensor reads too low.",
        consequence="A cold sector: stiffer melt there, lumps, more load on the wiper, "
        "a torn screen at the next start.",
        advice="A qualified electrician checks fuse, relay and lead current. "
        "Whether to go on is the shift leader's decision, by the maker's manual.",
        priority=Priority.MEDIUM,
        parameters={
            "asked_percent": Parameter(20, "%", "controller output above which current must flow", 1, 99),
            "current_share": Parameter(
                0.1, "1", "share of the nominal current that is as good as none", 0.01, 0.45
            ),
            "current_window_s": Parameter(20, "s", "how long no current is seen before it counts", 10, 600),
            "residual_k_min": Parameter(1.5, "K/min", "missing heating rate against the peers", 0.3, 20),
            "residual_held_s": Parameter(120, "s", "how long the heating rate is missing", 30, 3600),
            "slow_held_s": Parameter(180, "s", "how long the output is full without effect", 60, 3600),
            "plate_full_k_min": Parameter(5.3, "K/min", "heating rate of a plate at full output", 0.5, 60),
            "barrel_full_k_min": Parameter(
                9, "K/min", "heating rate of a barrel zone at full output", 0.5, 60
            ),
            "die_full_k_min": Parameter(14, "K/min", "heating rate of a die zone at full output", 0.5, 60),
        },
    ),
    "pressure-creep": Rule(
        cause="The screen is being blinded: contaminants that the wiper does not take off stay in its holes.",
        consequence="Cleanings come ever closer together, more melt is discharged, "
        "and the pressure limit is reached.",
        advice="Compare with the trial plan. The process lead decides on coarser screen, lower rate, "
        "wiper setting or screen change.",
        priority=Priority.LOW,
        parameters={
            "slope_percent": Parameter(1.5, "%", "rise per cleaning that counts", 0.1, 100),
            "sure_percent": Parameter(0.5, "%", "rise per cleaning that must be certain", 0, 100),
            "cycles": Parameter(10, "1", "cleanings that are looked at", 8, 100),
            "horizon_s": Parameter(3600, "s", "how far ahead the limit is looked for", 60, 86_400),
            "soon_s": Parameter(1200, "s", "a limit nearer than this is of medium priority", 0, 86_400),
            "limit_share": Parameter(
                0.75, "1", "share of the trigger that the pressure after cleaning may reach", 0.1, 1
            ),
        },
    ),
    "cleaning-overdue": Rule(
        cause="The wiper was not started: trigger switched off or set too high, wiper locked, "
        "or its pressures not current.",
        consequence="The pressure before the screen goes on rising towards the machine's own limit.",
        advice="The operator looks at the wiper's mode and trigger. "
        "A cleaning by hand is the shift leader's decision.",
        priority=Priority.MEDIUM,
        parameters={
            "over_bar": Parameter(3, "bar", "pressure difference above the trigger", 0, 100),
            "held_s": Parameter(20, "s", "how long it is above", 1, 600),
            "interval_factor": Parameter(1.25, "1", "share of the longest permitted interval", 1, 10),
            "start_s": Parameter(300, "s", "not judged so long after melt starts to run", 0, 3600),
        },
    ),
    "source-silent": Rule(
        cause="The machine's server, broker, network or cable does not answer, or is switched off.",
        consequence="Rules that need these signals are not judged; the record has a gap.",
        advice="Someone with access to the network looks whether the machine is on and reachable.",
        priority=Priority.MEDIUM,
        parameters={
            "bad_s": Parameter(5, "s", "how long all signals are without data", 0, 3600),
            "silent_s": Parameter(30, "s", "how long nothing arrives", 2, 3600),
        },
    ),
    "recording-gap": Rule(
        cause="Power or the recorder was gone, or the recorder was stopped.",
        consequence="What happened meanwhile is known only where a source kept its own history.",
        advice="Note in the trial record what happened meanwhile; nobody can judge it from the data.",
        priority=Priority.LOW,
        parameters={"gap_s": Parameter(5, "s", "pause between two heartbeats that counts", 2, 3600)},
    ),
}

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
