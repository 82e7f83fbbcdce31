"""What is written about a rule, in the columns in which alarms are rationalised (ISA-18.2, clause 6)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from rules.finding import Priority

MACHINE = "machine"
"""Alarm class: a machine or its parts suffer when nobody acts."""
QUALITY = "quality"
"""Alarm class: the pellets or the trial's figures suffer."""
RECORD = "record"
"""Alarm class: what is recorded is incomplete or doubtful."""

WHOLE_LINE = "line"
"""Reach of a root: whatever part of the line an alarm is about, it may be its consequence."""
SAME_MACHINE = "same machine"
"""Reach of a root: alarms whose subject begins with the same machine."""
SAME_PART = "same part"
"""Reach of a root: alarms of the same subject, or of a part of it."""


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
        machine: the part of the line that it is about.
        alarm_class: ``MACHINE``, ``QUALITY`` or ``RECORD``.
        respond_s: the time within which a person's act still helps.
        parameters: name with its unit → meaning and bounds.
        set_point, dead_band, on_delay, off_delay: which parameter is that; None: it has none.
        masks: when it is not judged, in words.
        roots: rules whose standing alarm makes one of this rule a consequence of it; see ``rules.grouping``.
        reach: of a rule that is named as a root, which alarms it may be the root of.
        signal_fault: whether it says that a signal cannot be believed or is not there: an alarm of any rule
            whose evidence names that signal is then a consequence.
        latching: whether its alarms stay until somebody resets them, though the condition is gone.
    """

    cause: str
    consequence: str
    advice: str
    priority: Priority
    machine: str
    alarm_class: str
    respond_s: float
    parameters: Mapping[str, Parameter] = field(default_factory=dict)
    set_point: str | None = None
    dead_band: str | None = None
    on_delay: str | None = None
    off_delay: str | None = None
    masks: tuple[str, ...] = ()
    roots: tuple[str, ...] = ()
    reach: str = WHOLE_LINE
    signal_fault: bool = False
    latching: bool = False
