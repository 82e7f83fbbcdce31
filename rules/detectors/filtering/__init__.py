"""The rules of the melt filter: screen, wiper, cleaning, discharge."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

from historian.tags import Tag
from rules.detectors.filtering.cleanings import CLEANING_RULES
from rules.detectors.filtering.creep import PressureCreep
from rules.detectors.filtering.high import HEAD, INLET, PressureHigh
from rules.detectors.filtering.log import TORQUE, WEIGHT
from rules.detectors.filtering.loss import DischargeLoss
from rules.detectors.filtering.overdue import CleaningOverdue
from rules.detectors.filtering.rows import has_filter_signals
from rules.detectors.filtering.torn import ScreenTorn
from rules.detectors.filtering.wiper import ANGLE, PARK, WiperPark, WiperStalled
from rules.detectors.offer import Offer
from rules.line import LineFacts
from rules.seen.stage import Stage


def offers(facts: LineFacts, tags: Mapping[str, Tag], stage: Stage) -> list[Offer]:
    """The rules of this part of the line, in the order of the table."""
    melt_filter = facts.melt_filter
    filtered = melt_filter is not None and has_filter_signals(tags)
    limits = () if melt_filter is None else (melt_filter.trigger_dp_bar, melt_filter.max_interval_s)
    limited = filtered and any(limit is not None for limit in limits)
    return [
        Offer(PressureCreep.rule, lambda: PressureCreep(facts, tags, stage), filtered),
        Offer(CleaningOverdue.rule, lambda: CleaningOverdue(facts, tags, stage), limited),
        Offer(
            WiperStalled.RULE, lambda: WiperStalled(facts, stage), filtered and {ANGLE, TORQUE} <= tags.keys()
        ),
        Offer(WiperPark.RULE, lambda: WiperPark(facts, stage), filtered and (ANGLE in tags or PARK in tags)),
        Offer(ScreenTorn.RULE, lambda: ScreenTorn(facts, stage), filtered),
        Offer(PressureHigh.RULE, lambda: PressureHigh(facts, stage), HEAD in tags or INLET in tags),
        Offer(DischargeLoss.RULE, lambda: DischargeLoss(facts, stage), filtered and WEIGHT in tags),
        *(Offer(rule.RULE, partial(rule, facts, stage), filtered) for rule in CLEANING_RULES),
    ]
