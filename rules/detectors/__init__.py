"""The detectors of a line: what each rule looks for, and the set that fits what the line has."""

from __future__ import annotations

from collections.abc import Mapping

from historian.tags import Tag
from rules.detector import Detector
from rules.detectors import cleaning, heaters, pressure, sources
from rules.detectors._filter import has_filter_signals
from rules.detectors.cleaning import CleaningOverdue
from rules.detectors.heaters import HeaterPower, zone_groups
from rules.detectors.pressure import PressureCreep
from rules.detectors.sources import HEARTBEAT, RecordingGap, SourceSilent, source_of_tags
from rules.line import LineFacts
from rules.table import RULES, Parameter, Rule
from rules.table.settings import check_settings

__all__ = [
    "HEARTBEAT",
    "RULES",
    "CleaningOverdue",
    "HeaterPower",
    "Parameter",
    "PressureCreep",
    "RecordingGap",
    "Rule",
    "SourceSilent",
    "check_settings",
    "detectors_for",
]


def detectors_for(facts: LineFacts, tags: Mapping[str, Tag]) -> list[Detector]:
    """Every detector that the line's signals and facts allow, as its file sets them.

    Args:
        tags: every tag of the line by path.

    Raises:
        WrongInput: an unknown rule or number, or an impossible value, with the nearest valid name.
    """
    check_settings(facts)
    melt_filter = facts.melt_filter
    filtered = melt_filter is not None and has_filter_signals(tags)
    limits = () if melt_filter is None else (melt_filter.trigger_dp_bar, melt_filter.max_interval_s)
    wanted: list[tuple[str, type, bool]] = [
        (heaters.RULE, HeaterPower, bool(zone_groups(facts, tags))),
        (pressure.RULE, PressureCreep, filtered),
        (cleaning.RULE, CleaningOverdue, filtered and any(limit is not None for limit in limits)),
        (sources.SILENT, SourceSilent, bool(source_of_tags(tags))),
        (sources.GAP, RecordingGap, HEARTBEAT in tags),
    ]
    return [make(facts, tags) for rule, make, possible in wanted if possible and facts.setting(rule).enabled]
