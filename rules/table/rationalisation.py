"""The rules of one line in the columns in which alarms are rationalised: each value, and whose it is.

Source: the documentation that ANSI/ISA-18.2, clause 6, and IEC 62682 ask of rationalisation, from memory.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, Final

from historian.units import shown_unit
from rules.finding import Priority
from rules.line import LineFacts
from rules.table import RULES, Rule
from rules.table.settings import values_of

COLUMNS: Final[Mapping[str, str]] = {
    "rule": "alarm",
    "machine": "machine",
    "judged": "judged on this line",
    "cause": "cause",
    "consequence": "consequence when nobody acts",
    "advice": "operator's action",
    "respond": "time to respond",
    "priority": "priority",
    "class": "class",
    "set_point": "set point",
    "dead_band": "dead band",
    "on_delay": "on-delay",
    "off_delay": "off-delay",
    "masks": "suppressed by design",
    "roots": "suppressed as a consequence of",
    "latching": "latching",
    "others": "further numbers",
}
"""Key of a column → its heading."""

JUDGED: Final = "yes"
SWITCHED_OFF: Final = "no: switched off in the line's file"
NOT_POSSIBLE: Final = "no: the line lacks signals or facts that it needs"

_NONE: Final = "none"


@dataclass(frozen=True, slots=True)
class Setting:
    """One value of a rule on a line.

    Attributes:
        text: as a person reads it.
        value, unit: for machines; the unit is a UCUM code, empty where there is none.
        own: whether the line's file says it; otherwise it is the rule's default.
    """

    text: str
    value: Any
    unit: str = ""
    own: bool = False

    @property
    def with_owner(self) -> str:
        """The text, and whose it is."""
        return f"{self.text} ({'line' if self.own else 'default'})"

    def to_json(self) -> dict[str, Any]:
        """As JSON types."""
        return {"value": self.value, "unit": self.unit, "from": "line" if self.own else "default"}


@dataclass(frozen=True, slots=True)
class Rationalised:
    """One rule of a line: texts by column, settings by column, further numbers by name."""

    texts: Mapping[str, str]
    settings: Mapping[str, Setting | None]
    others: Mapping[str, Setting]

    def row(self) -> dict[str, str]:
        """Column → text; a setting says whose it is."""
        settings = {k: _NONE if s is None else s.with_owner for k, s in self.settings.items()}
        others = "; ".join(f"{name}: {s.with_owner}" for name, s in self.others.items())
        whole = {**self.texts, **settings, "others": others or _NONE}
        return {column: whole[column] for column in COLUMNS}

    def to_json(self) -> dict[str, Any]:
        """As JSON types."""
        settings = {k: None if s is None else s.to_json() for k, s in self.settings.items()}
        others = {name: s.to_json() for name, s in self.others.items()}
        whole = {**self.texts, **settings, "others": others}
        return {column: whole[column] for column in COLUMNS}


def rationalised(facts: LineFacts, judged: Collection[str]) -> list[Rationalised]:
    """Every rule as it is set on a line, in the order of the rules' table.

    Args:
        judged: names of the rules that the line's signals allow and its file leaves on.

    Raises:
        WrongInput: the line's file sets what cannot be.
    """
    return [_rationalised(name, about, facts, judged) for name, about in RULES.items()]


def _rationalised(name: str, about: Rule, facts: LineFacts, judged: Collection[str]) -> Rationalised:
    setting, values = facts.setting(name), values_of(facts, name)
    named = {"set_point": about.set_point, "dead_band": about.dead_band}
    named |= {"on_delay": about.on_delay, "off_delay": about.off_delay}

    def number(parameter: str) -> Setting:
        value, unit = values[parameter], about.parameters[parameter].unit
        return Setting(_quantity(value, unit), value, unit, parameter in setting.numbers)

    priority = Priority(values.priority()).name.lower()
    latching = about.latching if setting.latching is None else setting.latching
    texts = {
        "rule": name,
        "machine": about.machine,
        "judged": _judged(name, setting.enabled, judged),
        "cause": about.cause,
        "consequence": about.consequence,
        "respond": _quantity(about.respond_s, "s"),
        "class": about.alarm_class,
        "masks": "; ".join(about.masks) or _NONE,
        "roots": "; ".join([*about.roots, *_of_signals(about)]),
    }
    return Rationalised(
        texts,
        {
            "advice": Setting(values.advice, values.advice, own=setting.advice is not None),
            "priority": Setting(priority, priority, own=setting.priority is not None),
            "latching": Setting("yes" if latching else "no", latching, own=setting.latching is not None),
            **{column: None if p is None else number(p) for column, p in named.items()},
        },
        {p: number(p) for p in about.parameters if p not in named.values()},
    )


def _judged(name: str, enabled: bool, judged: Collection[str]) -> str:
    if not enabled:
        return SWITCHED_OFF
    return JUDGED if name in judged else NOT_POSSIBLE


def _of_signals(about: Rule) -> list[str]:
    wider = "a wider fault of" if about.signal_fault else "a fault of"
    return [f"{wider} the signals that show it"]


def _quantity(value: float, unit: str) -> str:
    """A number with its unit; long times in minutes or hours, where these are whole.

    Example:
        >>> _quantity(600, "s"), _quantity(1.5, "%"), _quantity(10, "1")
        ('10 min', '1.5 %', '10')
    """
    for size, name in ((3600, "h"), (60, "min")):
        if unit == "s" and value >= 2 * size and value % size == 0:
            return f"{value / size:g} {name}"
    return f"{value:g}" if unit == "1" else f"{value:g} {shown_unit(unit)}"
