"""The rules of die, knives, process water and dryer."""

from __future__ import annotations

from collections.abc import Mapping

from historian.tags import Tag
from rules.detectors.offer import Offer
from rules.line import LineFacts
from rules.seen.stage import Stage


def offers(facts: LineFacts, tags: Mapping[str, Tag], stage: Stage) -> list[Offer]:
    """The rules of this part of the line, in the order of the table."""
    return []
