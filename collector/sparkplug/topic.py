"""Who a message is from and what it is, by its topic.

Source: Sparkplug specification 3.0, 4.1 (topic namespace elements).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from historian.errors import WrongInput

NAMESPACE: Final = "spBv1.0"
_NOT_IN_TOPICS: Final = set("+/#\0")


class Verb(StrEnum):
    """What an edge node says."""

    NBIRTH = "NBIRTH"
    NDEATH = "NDEATH"
    DBIRTH = "DBIRTH"
    DDEATH = "DDEATH"
    NDATA = "NDATA"
    DDATA = "DDATA"


_VERBS: Final = frozenset(map(str, Verb))


@dataclass(frozen=True, slots=True)
class Topic:
    """What a topic tells.

    Attributes:
        device: empty where the message is of the node itself.
    """

    verb: Verb
    node: str
    device: str


@dataclass(frozen=True, slots=True)
class Address:
    """Where a metric is found; ``device`` is empty where it is the node's own."""

    node: str
    device: str
    metric: str


def read_topic(text: str, group: str) -> Topic | None:
    """What a topic tells; None when it is not one of an edge node of this group.

    Example:
        >>> read_topic("spBv1.0/plant/DDATA/line-2/filter", "plant")
        Topic(verb=<Verb.DDATA: 'DDATA'>, node='line-2', device='filter')
    """
    parts = text.split("/")
    if len(parts) not in (4, 5) or parts[0] != NAMESPACE or parts[1] != group or parts[2] not in _VERBS:
        return None
    verb = Verb(parts[2])
    device = parts[4] if len(parts) == 5 else ""
    if (verb.startswith("D")) != bool(device) or not parts[3]:
        return None
    return Topic(verb, parts[3], device)


def read_address(text: str) -> Address:
    """Where a metric is found, of NODE/DEVICE/METRIC or NODE//METRIC.

    Raises:
        WrongInput: it is none.

    Example:
        >>> read_address("line-2/filter/inlet/pressure")
        Address(node='line-2', device='filter', metric='inlet/pressure')
    """
    parts = text.split("/", 2)
    if len(parts) < 3 or not parts[0] or not parts[2] or set("".join(parts[:2])) & _NOT_IN_TOPICS:
        raise WrongInput(f"'{text[:80]}' is not NODE/DEVICE/METRIC, nor NODE//METRIC for the node's own")
    return Address(*parts)


def check_part(text: str, what: str) -> str:
    """A group or a host as it may stand in a topic.

    Raises:
        WrongInput: it may not.
    """
    if not text or set(text) & _NOT_IN_TOPICS:
        raise WrongInput(f"'{text[:80]}': {what} is a word without +, / and #")
    return text


def filters(group: str, nodes: list[str]) -> list[tuple[str, int]]:
    """The topic filters under which these nodes and their devices are heard, with their QoS."""
    return [(f"{NAMESPACE}/{group}/+/{n}{end}", 1) for n in nodes for end in ("", "/+")]
