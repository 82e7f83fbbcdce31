"""The rules of heated zones."""

from __future__ import annotations

from collections.abc import Mapping

from historian.tags import Tag
from rules.detectors.heating.plate_out import PlateOut
from rules.detectors.heating.plates_uneven import PlatesUneven
from rules.detectors.heating.power import HeaterPower
from rules.detectors.heating.probe_break import ProbeBreak
from rules.detectors.heating.probe_detached import ProbeDetached
from rules.detectors.heating.probe_short import ProbeShort
from rules.detectors.heating.probes_swapped import ProbesSwapped
from rules.detectors.heating.soak_short import SCREW_SPEED, WIPER_STATE, SoakShort
from rules.detectors.heating.stuck_on import HeaterStuckOn
from rules.detectors.heating.supply import HeaterSupply
from rules.detectors.heating.weak import HeaterWeak
from rules.detectors.offer import Offer
from rules.line import LineFacts
from rules.seen.stage import Stage

_LEAST_PLATES = 4
_LEAST_CURRENTS = 3
_PAIR = 2


def offers(facts: LineFacts, tags: Mapping[str, Tag], stage: Stage) -> list[Offer]:
    """The rules of this part of the line, in the order of the table.

    Without heater currents ``heater-supply`` and ``probes-swapped`` are not offered; the others judge heaters
    by temperature and output, later and less surely. ``plate-out`` needs a tag that tells whether a plate is
    in use.
    """
    subjects = stage.heat.zones.subjects
    zoned = bool(subjects)
    currents = sum(s + ".i" in tags for s in subjects)
    plates = [s for s in subjects if s.startswith("filter.plate.")]
    switched = any(s + ".enabled.state" in tags for s in plates)
    starts = zoned and (SCREW_SPEED in tags or WIPER_STATE in tags)
    return [
        Offer(HeaterSupply.RULE, lambda: HeaterSupply(facts, stage), currents >= _LEAST_CURRENTS),
        Offer(ProbeBreak.RULE, lambda: ProbeBreak(facts, stage), zoned),
        Offer(ProbeShort.RULE, lambda: ProbeShort(facts, stage), zoned),
        Offer(ProbesSwapped.RULE, lambda: ProbesSwapped(facts, stage), currents >= _PAIR),
        Offer(HeaterStuckOn.RULE, lambda: HeaterStuckOn(facts, stage), zoned),
        Offer(HeaterPower.RULE, lambda: HeaterPower(facts, stage), zoned),
        Offer(HeaterWeak.RULE, lambda: HeaterWeak(facts, stage), zoned),
        Offer(ProbeDetached.RULE, lambda: ProbeDetached(facts, stage), zoned),
        Offer(PlateOut.RULE, lambda: PlateOut(facts, stage), switched),
        Offer(SoakShort.RULE, lambda: SoakShort(facts, stage), starts),
        Offer(PlatesUneven.RULE, lambda: PlatesUneven(facts, stage), len(plates) >= _LEAST_PLATES),
    ]
