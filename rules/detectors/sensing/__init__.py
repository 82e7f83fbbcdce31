"""The rules of sensors."""

from __future__ import annotations

from collections.abc import Mapping

from historian.tags import Tag
from rules.detectors.offer import Offer
from rules.detectors.sensing.drift import SensorDrift, neighbours
from rules.detectors.sensing.failed import SensorFailed, is_sensor
from rules.detectors.sensing.frozen import SensorFrozen
from rules.detectors.sensing.zero import PressureZero, melt_pressures
from rules.line import LineFacts
from rules.seen.stage import Stage


def offers(facts: LineFacts, tags: Mapping[str, Tag], stage: Stage) -> list[Offer]:
    """The rules of this part of the line, in the order of the table."""
    sensors = any(is_sensor(p, t) for p, t in tags.items())
    return [
        Offer(SensorFailed.rule, lambda: SensorFailed(facts, tags), sensors),
        Offer(SensorFrozen.RULE, lambda: SensorFrozen(facts, tags, stage), sensors),
        Offer(PressureZero.RULE, lambda: PressureZero(facts, tags, stage), bool(melt_pressures(tags))),
        Offer(SensorDrift.RULE, lambda: SensorDrift(facts, tags, stage), bool(neighbours(tags))),
    ]
