"""The rules of doser, extruder and vent."""

from __future__ import annotations

from collections.abc import Mapping

from historian.tags import Tag
from rules.detectors.extrusion.doser import MODE, WEIGHT, DoserUnweighed
from rules.detectors.extrusion.drive import SPEED, TORQUE, DriveOverload, ExtruderCold
from rules.detectors.extrusion.foaming import Foaming
from rules.detectors.extrusion.residue import MaterialResidue
from rules.detectors.extrusion.starved import FeedStarved
from rules.detectors.extrusion.surging import DIE, HEAD, OUTLET, Surging
from rules.detectors.extrusion.vent import DOME, VACUUM, VentVacuum
from rules.detectors.offer import Offer
from rules.line import LineFacts
from rules.seen.flow import RATE, RATE_SP
from rules.seen.stage import Stage


def offers(facts: LineFacts, tags: Mapping[str, Tag], stage: Stage) -> list[Offer]:
    """The rules of this part of the line, in the order of the table.

    Without a weighed feed, ``feed-starved`` goes by torque and die pressure alone; without the pressure at
    the screw's tip, ``surging`` goes by one behind the filter, which smooths it.
    """
    behind = OUTLET in tags or DIE in tags
    fed = RATE in tags and RATE_SP in tags
    zones = any(p.startswith("extruder.zone.") and p.endswith(".temp.sp") for p in tags)
    return [
        Offer(
            FeedStarved.RULE,
            lambda: FeedStarved(facts, stage),
            SPEED in tags and (fed or (TORQUE in tags and behind)),
        ),
        Offer(
            DoserUnweighed.RULE,
            lambda: DoserUnweighed(facts, stage),
            MODE in tags or (WEIGHT in tags and RATE in tags),
        ),
        Offer(Surging.RULE, lambda: Surging(facts, stage), HEAD in tags or behind),
        Offer(Foaming.RULE, lambda: Foaming(facts, stage), behind),
        Offer(VentVacuum.RULE, lambda: VentVacuum(facts, stage), VACUUM in tags or DOME in tags),
        Offer(ExtruderCold.RULE, lambda: ExtruderCold(facts, stage), SPEED in tags and zones),
        Offer(DriveOverload.RULE, lambda: DriveOverload(facts, stage), TORQUE in tags),
        Offer(MaterialResidue.RULE, lambda: MaterialResidue(facts, stage), behind),
    ]
