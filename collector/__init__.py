"""Brings samples from machines into the store: sources, mapping to tags, gaps, and the writer."""

from collector.clock import Clock, WallClock
from collector.errors import CertificateRefused, SourceAway, SourceRefused, UnsupportedSecurity, WrongNode
from collector.gaps.marks import Gap
from collector.gaps.unfilled import unfilled_gaps
from collector.health.figures import Health, health_tags
from collector.health.watch import Watch
from collector.keeping.inbox import Inbox
from collector.keeping.resume import newest_epochs, newest_samples
from collector.keeping.writer import HEARTBEAT, Judge, Writer
from collector.reading.mapping import SourceMapping, TagMapping, tags_of
from collector.service import Roster, collect
from collector.source import Source, SourceCounts, SourceState, SourceStatus

__all__ = [
    "HEARTBEAT",
    "CertificateRefused",
    "Clock",
    "Gap",
    "Health",
    "Inbox",
    "Judge",
    "Roster",
    "Source",
    "SourceAway",
    "SourceCounts",
    "SourceMapping",
    "SourceRefused",
    "SourceState",
    "SourceStatus",
    "TagMapping",
    "UnsupportedSecurity",
    "WallClock",
    "Watch",
    "Writer",
    "WrongNode",
    "collect",
    "health_tags",
    "newest_epochs",
    "newest_samples",
    "tags_of",
    "unfilled_gaps",
]
