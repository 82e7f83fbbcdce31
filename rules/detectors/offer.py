"""What a part of the line offers: its rules, each with its maker and whether this line allows it."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from rules.detector import Detector


class Offer(NamedTuple):
    """One rule.

    Attributes:
        rule: its name, as in the rules' table.
        make: makes its detector.
        possible: whether the line has the signals and facts that it needs.
    """

    rule: str
    make: Callable[[], Detector]
    possible: bool
