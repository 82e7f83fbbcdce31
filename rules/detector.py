"""What every detector is: a small state machine over blocks of samples, without clock, disk or network."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from rules.block import Block
from rules.finding import Blind, Finding


class Detector(Protocol):
    """Judges samples as they come and says what began, what ended, and what it could not judge.

    The same object judges live data and an old trial; all times come from samples, none from a clock.
    A sample whose quality is bad is never judged; an uncertain one may be, where the detector says so.
    """

    @property
    def rule(self) -> str:
        """The rule's name, as in the line's file."""
        ...

    def update(self, block: Block) -> Sequence[Finding | Blind]:
        """Judge what arrived within one second (or one late lot)."""
        ...

    def advance(self, now_ns: int) -> Sequence[Finding | Blind]:
        """Judge what is missing: called once a whole second of arrival time, after that second's block."""
        ...

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null); ``restore`` of it changes no later finding."""
        ...

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up the state that ``save`` gave."""
        ...
