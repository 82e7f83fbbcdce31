"""The detectors of a line: what each rule looks for, and the set that fits what the line has."""

from __future__ import annotations

from collections.abc import Mapping

from historian.tags import Tag
from rules.detector import Detector
from rules.detectors import extrusion, filtering, heating, pelletizing, recording, sensing
from rules.line import LineFacts
from rules.seen.stage import Stage
from rules.table.settings import check_settings

__all__ = ["detectors_for"]

_PARTS = (heating, filtering, extrusion, pelletizing, sensing, recording)


def detectors_for(facts: LineFacts, tags: Mapping[str, Tag]) -> list[Detector]:
    """Every detector that the line's signals and facts allow, as its file sets them; first their stage.

    Args:
        tags: every tag of the line by path.

    Raises:
        WrongInput: an unknown rule or number, or an impossible value, with the nearest valid name.
    """
    check_settings(facts)
    stage = Stage(facts, tags)
    offered = [offer for part in _PARTS for offer in part.offers(facts, tags, stage)]
    found = [offer.make() for offer in offered if offer.possible and facts.setting(offer.rule).enabled]
    return [stage, *found] if found else []
