"""The rules of heated zones."""

from __future__ import annotations

from collections.abc import Mapping

from historian.tags import Tag
from rules.detectors.heating.power import HeaterPower, zone_groups
from rules.detectors.offer import Offer
from rules.line import LineFacts
from rules.seen.stage import Stage


def offers(facts: LineFacts, tags: Mapping[str, Tag], stage: Stage) -> list[Offer]:
    """The rules of this part of the line, in the order of the table."""
    zoned = bool(zone_groups(facts, tags))
    return [Offer(HeaterPower.rule, lambda: HeaterPower(facts, tags, stage), zoned)]
