"""What is asked of a server for each node, and which nodes go into one subscription."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from asyncua import ua
from asyncua.ua.attribute_ids import AttributeIds

from collector.opcua.limits import in_groups
from collector.reading.deadband import Deadband
from collector.reading.mapping import Reading

_QUEUE_S = 30.0  # a server that is not heard for so long loses nothing
_QUEUE = (10, 1000)
_SLOWEST_PUBLISHING_MS = 5000.0
_SLOW = 4.0  # publishing intervals; what is sampled more rarely gets a subscription with its own

_EVERY_SAMPLE = ua.DataChangeFilter(Trigger=ua.DataChangeTrigger.StatusValueTimestamp)
"""Reports a sample whose value repeats: a steady reading is then told from a frozen source.
Source: OPC 10000-4, 7.22.2 (DataChangeFilter)."""


@dataclass(frozen=True, slots=True)
class Sampling:
    """How a server is to sample a node.

    Attributes:
        every_ms: time between two samples, milliseconds; 0 for as fast as the server will.
        queue: samples that it holds until they are sent; 0 for as many as make half a minute.
    """

    every_ms: float = 250.0
    queue: int = 0

    @property
    def depth(self) -> int:
        """Samples that the server is asked to hold.

        Example:
            >>> Sampling(100.0).depth, Sampling(250.0).depth, Sampling(10_000.0).depth, Sampling(0.0).depth
            (300, 120, 10, 1000)
        """
        least, most = _QUEUE
        if not self.every_ms:
            return self.queue or most
        return self.queue or min(most, max(least, math.ceil(_QUEUE_S * 1000 / self.every_ms)))

    def is_slowed_to(self, given_ms: float) -> bool:
        """Whether a server samples less than half as often as it was asked to.

        0 asks for its fastest, and whatever that is, is what was asked for.
        Source: OPC 10000-4, 7.21 (MonitoringParameters, samplingInterval), from memory.

        Example:
            >>> Sampling(100.0).is_slowed_to(250.0), Sampling(0.0).is_slowed_to(250.0)
            (True, False)
        """
        return 0 < 2 * self.every_ms < given_ms


@dataclass(frozen=True, slots=True)
class Asking:
    """What is asked of a server.

    Attributes:
        publishing_ms: time between two messages, milliseconds.
        sampling: of every tag that has none of its own.
        of_tag: tag path → its own sampling.
        history: whether gaps are filled from the server's history.
    """

    publishing_ms: float = 250.0
    sampling: Sampling = Sampling()
    of_tag: Mapping[str, Sampling] = field(default_factory=dict)
    history: bool = True

    def of(self, path: str) -> Sampling:
        """How a tag is sampled."""
        return self.of_tag.get(path, self.sampling)


@dataclass(slots=True)
class Item:
    """One tag and its node.

    Attributes:
        reading: how its values become the tag's.
        node: the server's node.
        sampling: as the server is asked for it.
        deadband: None keeps every sample.
    """

    reading: Reading
    node: ua.NodeId
    sampling: Sampling = Sampling()
    deadband: Deadband | None = None

    @property
    def path(self) -> str:
        """The tag's path."""
        return self.reading.tag.path

    def request(self, handle: int, *, every: bool = True) -> ua.MonitoredItemCreateRequest:
        """The monitored item to be created: every sample, or every change where a server cannot do that."""
        return ua.MonitoredItemCreateRequest(
            ItemToMonitor=ua.ReadValueId(NodeId=self.node, AttributeId=AttributeIds.Value),
            MonitoringMode=ua.MonitoringMode.Reporting,
            RequestedParameters=ua.MonitoringParameters(
                ClientHandle=handle,
                SamplingInterval=self.sampling.every_ms,
                QueueSize=self.sampling.depth,
                DiscardOldest=True,
                Filter=_EVERY_SAMPLE if every else None,
            ),
        )

    def falls_short(self, result: ua.MonitoredItemCreateResult) -> bool:
        """Whether the server samples it less than half as often, or holds fewer, than it was asked for."""
        slower = self.sampling.is_slowed_to(float(result.RevisedSamplingInterval))
        return slower or int(result.RevisedQueueSize) < self.sampling.depth


def grouped(items: Iterable[Item], publishing_ms: float, most: int) -> Iterator[tuple[float, Sequence[Item]]]:
    """The items of each subscription with its publishing interval, milliseconds.

    Args:
        items: to be grouped; those of a rate keep their order.
        publishing_ms: time between two messages of the quick ones.
        most: items in one subscription; 0 for any number.
    """
    rates: dict[float, list[Item]] = {}
    for item in items:
        every_ms = item.sampling.every_ms
        slow = every_ms >= _SLOW * publishing_ms
        own_ms = min(every_ms, max(_SLOWEST_PUBLISHING_MS, publishing_ms))
        rates.setdefault(own_ms if slow else publishing_ms, []).append(item)
    for rate_ms, of_rate in sorted(rates.items()):
        for some in in_groups(of_rate, most or len(of_rate)):
            yield rate_ms, some
