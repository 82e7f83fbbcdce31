"""Makes what a server has into tags: by type and path, by words, or not at all. All of it is pure."""

from collector.discovery.companion import FoundMachine
from collector.discovery.discover import Discovery, discover
from collector.discovery.finding import Confidence, Finding, Standing
from collector.discovery.space import Space, SpaceNode, Told, Value

__all__ = [
    "Confidence",
    "Discovery",
    "Finding",
    "FoundMachine",
    "Space",
    "SpaceNode",
    "Standing",
    "Told",
    "Value",
    "discover",
]
