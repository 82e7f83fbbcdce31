"""The rules of sources, clocks and the record."""

from __future__ import annotations

from collections.abc import Mapping

from historian.tags import Tag
from rules.detectors.offer import Offer
from rules.detectors.recording.clocks import ClockOff
from rules.detectors.recording.missing import SamplesMissing
from rules.detectors.recording.sources import HEARTBEAT, RecordingGap, SourceSilent, source_of_tags
from rules.line import LineFacts
from rules.seen.stage import Stage


def offers(facts: LineFacts, tags: Mapping[str, Tag], stage: Stage) -> list[Offer]:
    """The rules of this part of the line, in the order of the table."""
    sourced = bool(source_of_tags(tags))
    return [
        Offer(SourceSilent.rule, lambda: SourceSilent(facts, tags), sourced),
        Offer(SamplesMissing.rule, lambda: SamplesMissing(facts, tags), sourced),
        Offer(ClockOff.rule, lambda: ClockOff(facts, tags), sourced),
        Offer(RecordingGap.rule, lambda: RecordingGap(facts, tags), HEARTBEAT in tags),
    ]
