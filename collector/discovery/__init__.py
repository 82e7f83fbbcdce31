"""Makes what a server was found to have into tags: by type and path, by words, or not at all. All of it is pure."""

from collector.discovery.discover import Discovery, FoundMachine, discover
from collector.discovery.finding import Confidence, Finding, Standing
from collector.discovery.space import Told, Space, SpaceNode, Value

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
