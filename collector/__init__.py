"""Brings samples from machines into the store: sources, mapping to tags, gaps, and the writer."""

from collector.clock import Clock, WallClock
from collector.errors import CertificateRefused, SourceAway, SourceRefused, UnsupportedSecurity, WrongNode
from collector.health import Health, health_tags
from collector.inbox import Inbox
from collector.mapping import SourceMapping, TagMapping, tags_of
from collector.resume import newest_epochs, newest_samples
from collector.service import Roster, collect
from collector.source import Source, SourceCounts, SourceState, SourceStatus
from collector.watch import Watch
from collector.writer import HEARTBEAT, Judge, Writer

__all__ = [
    "HEARTBEAT",
    "CertificateRefused",
    "Clock",
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
]
