"""How long a rule could not judge, and why: a spell is told when it ends, and at every whole hour of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from historian.frame import NS
from rules.finding import Blind

LEAST_S = 120.0
"""A shorter spell (a cleaning, say) is not worth a word."""

_HOUR_NS = 3600 * NS


class Blindness:
    """The spells of one rule, by subject."""

    def __init__(self, rule: str) -> None:
        self._rule = rule
        self._spells: dict[str, tuple[int, int, str]] = {}  # subject → since, last seen, why

    def note(self, time_ns: int, why: str | None, subject: str = "") -> list[Blind]:
        """Take the next judgement of a subject: why it could not be made, or None.

        Returns:
            the spell that this ends or cuts at a whole hour, if it was long enough to tell.
        """
        spell = self._spells.get(subject)
        if spell is None:
            if why is not None:
                self._spells[subject] = (time_ns, time_ns, why)
            return []
        since_ns, last_ns, reason = spell
        same = why == reason and time_ns // _HOUR_NS == since_ns // _HOUR_NS
        if same:
            self._spells[subject] = (since_ns, time_ns, reason)
            return []
        if why is None:
            del self._spells[subject]
        else:
            self._spells[subject] = (time_ns, time_ns, why)
        # Up to this judgement, unless the data themselves paused: then up to the last one that was made.
        end_ns = time_ns if time_ns - last_ns <= 60 * NS else last_ns
        long_enough = end_ns - since_ns >= LEAST_S * NS
        return [Blind(self._rule, subject, since_ns, end_ns, reason)] if long_enough else []

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {subject: list(spell) for subject, spell in self._spells.items()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._spells = {subject: (s[0], s[1], s[2]) for subject, s in state.items()}
