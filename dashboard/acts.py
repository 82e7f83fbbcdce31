"""What a person may ask for on a page, checked before it goes to the journal."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from math import isnan

from dashboard.errors import ActRefused
from historian.frame import NS
from rules.entry import Act, ActKind

OFTEN = ("bale changed", "sample taken", "screen changed", "vent flow seen")
SELDOM = ("die drool seen", "knives changed", "wiper blade changed", "zero state confirmed")
MARKS = (*OFTEN, *SELDOM)
"""What a person may mark; rules go by most of them (``rules.seen.told``)."""

LONGEST_REASON = 200
LONGEST_NAME = 40
LEAST_MINUTES, MOST_MINUTES = 1, 480
ROLE = "operator"
"""Until there are accounts, whoever stands at the page acts as an operator."""

TAKEN_BACK = "taken back: "


def seen(rule: str, subject: str, by: str, now_ns: int) -> Act:
    """A person saw the alarm here; the machine's own alarm is not touched."""
    return Act(0, now_ns, person(by), ROLE, ActKind.SEEN, rule, subject)


def shelve(rule: str, subject: str, by: str, now_ns: int, *, minutes: object, reason: object) -> Act:
    """Keep an alarm from sight for some minutes.

    Raises:
        ActRefused: without a reason, or for a time that is too short or too long.
    """
    words = clean(reason, LONGEST_REASON, "the reason")
    if len(words) < 3:
        raise ActRefused("Say why in a few words: they stay in the journal with the alarm.")
    if isinstance(minutes, bool) or not isinstance(minutes, int | float) or isnan(minutes):
        raise ActRefused(f"Say for how many minutes, {LEAST_MINUTES} to {MOST_MINUTES}.")
    if not LEAST_MINUTES <= minutes <= MOST_MINUTES:
        raise ActRefused(f"An alarm is shelved for {LEAST_MINUTES} to {MOST_MINUTES} minutes.")
    until_ns = now_ns + int(minutes * 60) * NS
    return Act(0, now_ns, person(by), ROLE, ActKind.SHELVE, rule, subject, reason=words, until_ns=until_ns)


def mark(text: object, by: str, now_ns: int, known: Sequence[str] = MARKS) -> Act:
    """Something that happened at the line now.

    Raises:
        ActRefused: a mark that is not on the page.
    """
    if text not in known:
        raise ActRefused(f"There is no mark of that name; known are: {', '.join(known)}.")
    return Act(0, now_ns, person(by), ROLE, ActKind.MARK, text=str(text))


def take_back(act_id: int, text: str, by: str, now_ns: int) -> Act:
    """A mark was set by mistake: a second mark says so, for nothing is ever deleted from the journal."""
    return Act(0, now_ns, person(by), ROLE, ActKind.MARK, text=f"{TAKEN_BACK}{text}", reason=f"act {act_id}")


def person(by: object) -> str:
    """Who acts, in the words that they gave; "at the page" when they gave none.

    Raises:
        ActRefused: too long.
    """
    return clean(by, LONGEST_NAME, "the name") or "at the page"


def clean(text: object, longest: int, what: str) -> str:
    """Words as a person typed them: one line, without control characters.

    Raises:
        ActRefused: no text, or longer than permitted.
    """
    if text is None:
        return ""
    if not isinstance(text, str):
        raise ActRefused(f"{what[:1].upper()}{what[1:]} must be words.")
    if len(text) > longest:
        raise ActRefused(
            f"{what[:1].upper()}{what[1:]} may have at most {longest} characters, not {len(text)}."
        )
    plain = "".join(" " if unicodedata.category(c)[0] in "CZ" else c for c in text)
    return " ".join(plain.split())
