"""The published figures of alarm performance, with their source and how sure we are of each.

None of the standards themselves could be read: every row says whether its numbers were seen in a secondary
text or written down from memory. ISA-18.2 is that of 2009 unless a row says 2016; IEC 62682 that of 2014.
All rates are for one operator.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

IEC: Final = "IEC 62682 performance table"
SECONDARY: Final = "seen in secondary text"
MEMORY: Final = "from memory"
LEAST_DAYS: Final = 30
"""Days of data that the standard asks for before a line is judged (a note of ISA-18.2, seen in secondary
text)."""


@dataclass(frozen=True, slots=True)
class Published:
    """One published figure.

    Attributes:
        metric: what it is a figure of.
        target: at or below it: very likely acceptable; None where only words or shares are published.
        maximum: above it: more than can be managed; the target itself where nothing else is published.
        unit: UCUM code; "1" for counts.
        strict: whether a value must stay below the number, not only not exceed it.
        target_text, maximum_text: as published.
        source: standard and place.
        confidence: seen in a secondary text, or from memory.
    """

    metric: str
    target: float | None
    maximum: float | None
    unit: str
    target_text: str
    maximum_text: str
    source: str
    confidence: str
    strict: bool = False


PUBLISHED: Final[Mapping[str, Published]] = {
    "per day": Published(
        "average alarms per operator per day",
        144,
        288,
        "1",
        "~144 (IEC 62682:2014); ~150 (ISA-18.2-2009)",
        "~288 (IEC); ~300 (ISA 2009)",
        "IEC 62682 performance table; ISA-18.2-2009; 2016 edition dropped this row",
        "targets seen in secondary text; upper limits from memory",
    ),
    "per hour": Published("average alarms per operator per hour", 6, 12, "1", "~6", "~12", IEC, SECONDARY),
    "per 10 min": Published("average alarms per operator per 10 min", 1, 2, "1", "~1", "~2", IEC, SECONDARY),
    "hours above 30": Published(
        "% of hours with more than 30 alarms", 1, 1, "%", "~<1 %", "", IEC, SECONDARY, strict=True
    ),
    "10 min above 10": Published(
        "% of 10-min periods with more than 10 alarms", 1, 1, "%", "~<1 %", "", IEC, SECONDARY, strict=True
    ),
    "most in 10 min": Published(
        "maximum alarms in one 10-min period", 10, 10, "1", "<=10", "", IEC, SECONDARY
    ),
    "time in flood": Published("% of time in flood", 1, 1, "%", "~<1 %", "", IEC, SECONDARY, strict=True),
    "ten most frequent": Published(
        "contribution of top 10 most frequent alarms",
        1,
        5,
        "%",
        "~<1 % to 5 % maximum with action plan",
        "",
        IEC,
        SECONDARY,
    ),
    "chattering or fleeting": Published(
        "chattering or fleeting alarms", 0, 0, "1", "0 with action plan", "", IEC, SECONDARY
    ),
    "stale": Published(
        "stale alarms",
        5,
        5,
        "1",
        "fewer than 5 present on any day with action plan",
        "",
        IEC,
        SECONDARY,
        strict=True,
    ),
    "priorities": Published(
        "annunciated priority distribution 3 levels",
        None,
        None,
        "%",
        "~80 % low / ~15 % medium / ~5 % high",
        "",
        IEC,
        SECONDARY,
    ),
    "standing": Published(
        "EEMUA 191 standing alarms", 10, 10, "1", "under 10", "", "EEMUA 191", MEMORY, strict=True
    ),
}
"""Key of a figure → what is published of it."""

SHARES: Final[Mapping[str, float]] = {"low": 80.0, "medium": 15.0, "high": 5.0}
"""Published shares of the three priorities, %; see the row "priorities"."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a published scale: what a rate up to here is called."""

    up_to: float
    words: str
    row: str
    confidence: str


STEADY: Final = (
    Step(0.1, "very likely acceptable", "EEMUA 191 steady state: less than 1 per 10 min", SECONDARY),
    Step(0.2, "manageable", "EEMUA 191 steady state: 1 per 5 min", MEMORY),
    Step(0.5, "likely over-demanding", "EEMUA 191 steady state: 1 per 2 min", MEMORY),
    Step(float("inf"), "very likely unacceptable", "EEMUA 191 steady state: more than 1 per min", MEMORY),
)
"""EEMUA 191: average rate in steady state, alarms a minute. Between the published points (1 in 10, 5 and 2
min, more than 1 a min) the words of the higher one are taken: derived here."""

AFTER_UPSET: Final = (
    Step(9, "should be manageable", "EEMUA 191 first 10 min after upset: under 10", MEMORY),
    Step(100, "hard to cope with", "EEMUA 191 first 10 min after upset: 20 to 100", MEMORY),
    Step(float("inf"), "definitely excessive", "EEMUA 191 first 10 min after upset: more than 100", MEMORY),
)
"""EEMUA 191: alarms in the first ten minutes after an upset. 10 to 19 is not published; the words of the
higher step are taken: derived here."""


def words_on(scale: tuple[Step, ...], value: float) -> str:
    """What a published scale calls the value.

    Example:
        >>> words_on(STEADY, 0.1), words_on(STEADY, 0.3), words_on(AFTER_UPSET, 12)
        ('very likely acceptable', 'likely over-demanding', 'hard to cope with')
    """
    return next(step.words for step in scale if value <= step.up_to)
