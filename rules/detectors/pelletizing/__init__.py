"""The rules of die, knives, process water and dryer."""

from __future__ import annotations

from collections.abc import Mapping

from historian.tags import Tag
from rules.detectors.offer import Offer
from rules.detectors.pelletizing.contact import PRESSURE, SPEED, TORQUE, KnifePressure
from rules.detectors.pelletizing.drool import DieDrool
from rules.detectors.pelletizing.dryer import CURRENT, DryerOverload
from rules.detectors.pelletizing.frozen import DIE, OUTLET, DieFrozen
from rules.detectors.pelletizing.knives import KnifeWorn
from rules.detectors.pelletizing.length import SPEED_SP, PelletLength
from rules.detectors.pelletizing.water_flow import FLOW, WaterFlow
from rules.detectors.pelletizing.water_temperature import SUPPLY, SUPPLY_SP, WaterTemperature
from rules.line import LineFacts
from rules.seen.flow import RATE
from rules.seen.stage import Stage


def offers(facts: LineFacts, tags: Mapping[str, Tag], stage: Stage) -> list[Offer]:
    """The rules of this part of the line, in the order of the table.

    Without a feed rate, ``die-frozen`` cannot judge a start and ``pellet-length`` knows the knives' set-point
    alone; without a set-point, ``knife-pressure`` and ``water-flow`` go by what is usual.
    """
    turning = SPEED in tags and (SPEED_SP in tags or RATE in tags)
    return [
        Offer(DieFrozen.RULE, lambda: DieFrozen(facts, stage), OUTLET in tags or DIE in tags),
        Offer(DieDrool.RULE, lambda: DieDrool(facts, stage), TORQUE in tags),
        Offer(KnifeWorn.RULE, lambda: KnifeWorn(facts, stage), TORQUE in tags),
        Offer(KnifePressure.RULE, lambda: KnifePressure(facts, stage), PRESSURE in tags and SPEED in tags),
        Offer(PelletLength.RULE, lambda: PelletLength(facts, stage), turning),
        Offer(
            WaterTemperature.RULE,
            lambda: WaterTemperature(facts, stage),
            SUPPLY in tags and SUPPLY_SP in tags,
        ),
        Offer(WaterFlow.RULE, lambda: WaterFlow(facts, stage), FLOW in tags),
        Offer(DryerOverload.RULE, lambda: DryerOverload(facts, stage), CURRENT in tags),
    ]
