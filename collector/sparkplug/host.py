"""A Sparkplug host application without its network: from messages to samples, commands and events.

Source: Sparkplug specification 3.0, chapters 5 (operational behaviour) and 6 (payloads).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from collector.columns import Columns
from collector.complaints import Complaints
from collector.reading.readings import Readings
from collector.sparkplug.decode import LARGEST_BYTE, Decoder, Malformed
from collector.sparkplug.known import Known, Places
from collector.sparkplug.late import Late
from collector.sparkplug.metrics import Heard, Metrics
from collector.sparkplug.node import Act, Message, Node, Step
from collector.sparkplug.nodeclock import NodeClock
from collector.sparkplug.samples import Sampler, sent_ns
from collector.sparkplug.table import Found, Table, UnitCheck
from collector.sparkplug.topic import Address, Topic, read_topic
from collector.sparkplug.words import Tale
from historian.frame import NS
from historian.quality import NO_COMMUNICATION, NO_DATA

_TOPICS: Final = 10_000
_LONGEST: Final = 512  # of a topic that is remembered

Passing = Callable[[Places, Columns], NDArray[np.bool_]]
"""Which samples are worth keeping, by the places of their tags."""


@dataclass(frozen=True, slots=True)
class Delivery:
    """Samples in the order in which they were sent.

    Attributes:
        confirmed_ns: of a birth: the node's own time of it; else 0.
    """

    columns: Columns
    confirmed_ns: int = 0


class Host:
    """What a host application knows and concludes.

    Args:
        name: of the source, for texts.
        group: whose nodes are heard.
        addresses: where each tag is found, in the source's order.
        texts: metrics that are wanted as texts.
        readings: of the source's tags, in the same order.
        complaints: counts what cannot be read; knows what ``samples.COMPLAINTS`` explains.
        reorder_ns: how long a message may be missing before its node is asked for a rebirth.
        largest_byte: a larger message is not read.
        passing: which live samples are worth keeping; None keeps every one.
        wrong_unit: what is wrong with a unit that a birth tells for the tag at a place.

    Attributes:
        nodes: by name; those that the addresses name, and no others.
        late: what was delivered late.
        sampler: counts samples.
        tale: what is to be told.
    """

    def __init__(
        self,
        name: str,
        group: str,
        addresses: Sequence[Address],
        texts: Sequence[Address],
        readings: Readings,
        complaints: Complaints,
        *,
        reorder_ns: int = 2 * NS,
        largest_byte: int = LARGEST_BYTE,
        passing: Passing | None = None,
        wrong_unit: UnitCheck = lambda _place, _unit: None,
    ) -> None:
        self._wrong_unit = wrong_unit
        self._group, self._complaints, self._passing = group, complaints, passing
        self._addresses = addresses
        self._tags: dict[tuple[str, str], dict[str, int]] = {}
        for place, a in enumerate(addresses):
            self._tags.setdefault((a.node, a.device), {})[a.metric] = place
        self._texts: dict[tuple[str, str], set[str]] = {}
        for a in texts:
            self._texts.setdefault((a.node, a.device), set()).add(a.metric)
        self._last_text: dict[str, str] = {}
        names = dict.fromkeys(a.node for a in (*addresses, *texts))
        self.nodes = {node: Node(self._table_maker(node), reorder_ns) for node in names}
        self._clocks = {node: NodeClock() for node in names}
        self._decoder = Decoder(largest_byte)
        self._topics: dict[str, Topic | None] = {}
        self._known = Known(readings.tag_id)
        self.late, self.tale, self.sampler = Late(), Tale(name), Sampler(readings, complaints)

    def hear(self, topic: str, body: bytes, now_ns: int) -> list[Delivery]:
        """What a message brings."""
        about = self._about(topic)
        node = self.nodes.get(about.node) if about is not None else None
        if about is None or node is None:
            return []
        try:
            heard = self._decoder.decode(body)
        except Malformed as error:
            self._complaints.add("payload", topic, f"{error}: {body[:24]!r}")
            return []
        return self._done(about.node, node.take(Message(about.verb, about.device, heard, now_ns)), now_ns)

    def due(self, now_ns: int) -> list[Delivery]:
        """What is to be said because time has passed."""
        return [d for name, node in self.nodes.items() for d in self._done(name, node.due(now_ns), now_ns)]

    def rebirths(self, now_ns: int) -> list[str]:
        """The nodes that are to be asked for a rebirth now."""
        asked = []
        for name, node in self.nodes.items():
            reason = node.asking.due(now_ns)
            if reason is not None:
                asked.append(name)
                self.tale.asked(name, reason, node.asking.asked - 1)
        return asked

    def unsure(self, reason: str) -> None:
        """The connection is made anew: nothing is known of any node until it is born."""
        self._known.lost()
        for node in self.nodes.values():
            node.unsure()
            node.asking.want(reason)

    def alive_ns(self, now_ns: int) -> int | None:
        """What the clocks of the living nodes show at the least; None when none lives."""
        return min((self._clocks[n].at(now_ns) for n, node in self.nodes.items() if node.alive), default=None)

    @property
    def unborn(self) -> list[int]:
        """Places of the tags whose metric no birth has named."""
        born: set[int] = set()
        for node in self.nodes.values():
            for device in list(node.devices.values()):
                born.update(device.table.tag.tolist())
        return [place for place in range(len(self._addresses)) if place not in born]

    def _about(self, topic: str) -> Topic | None:
        if topic in self._topics:
            return self._topics[topic]
        about = read_topic(topic, self._group)
        if len(topic) <= _LONGEST:
            if len(self._topics) >= _TOPICS:
                self._topics.clear()
            self._topics[topic] = about
        return about

    def _table_maker(self, node: str) -> Callable[[str, Metrics], Table]:
        def make(device: str, metrics: Metrics) -> Table:
            texts = frozenset(self._texts.get((node, device), ()))
            return Table(metrics, self._tags.get((node, device), {}), texts, self._wrong_unit)

        return make

    def _done(self, node: str, steps: Sequence[Step], now_ns: int) -> list[Delivery]:
        found: list[Delivery] = []
        for step in steps:
            if step.act is Act.DATA and step.message is not None:
                found.extend(self._data(node, step.message, late=step.late))
            elif step.act is Act.BIRTH and step.message is not None:
                found.extend(self._birth(node, step.message, changed=step.changed))
            elif step.act is Act.DEATH:
                found.extend(self._death(node, step, now_ns))
            else:
                found.extend(self._mark(node, step.devices, self._clocks[node].last(now_ns), NO_DATA))
        return found

    def _data(self, node: str, message: Message, *, late: bool) -> list[Delivery]:
        heard, where = message.heard, f"{node}/{message.device}"
        found = self.nodes[node].devices[message.device].table.find(heard.metrics)
        if found.unknown:
            self._complaints.add("alias", where, f"{found.unknown} metrics", found.unknown)
            self.nodes[node].asking.want(f"{found.unknown} metrics of {where} are of no birth")
        if found.texts:
            self._take_texts(where, heard, found)
        at, columns = found.tag, self.sampler.samples(heard, found, message.now_ns, where)
        if not heard.metrics.plain:
            historical = heard.metrics.historical[found.which]
            if historical.any():
                self.late.add(columns.chosen(historical), message.now_ns)
                at, columns = at[~historical], columns.chosen(~historical)
        if late:
            again = Columns(columns.tag, columns.time_ns, columns.value, columns.quality, resent=True)
            return [Delivery(again)] if len(at) else []
        if len(at):
            self._clocks[node].set(int(columns.time_ns.max()), message.now_ns)
        self._known.take(at, columns)
        if self._passing is not None:
            columns = columns.chosen(self._passing(at, columns))
        return [Delivery(columns)] if len(columns) else []

    def _birth(self, node: str, message: Message, *, changed: bool) -> list[Delivery]:
        heard, device, now_ns = message.heard, message.device, message.now_ns
        table = self.nodes[node].devices[device].table
        where = f"{node}/{device}"
        if changed:
            self.tale.born(node, device, table, now_ns)
        found = table.find(heard.metrics)
        self._take_texts(where, heard, found)
        columns = self.sampler.samples(heard, found, now_ns, where)
        newest_ns = int(columns.time_ns.max()) if len(columns) else None
        born_ns = self._clocks[node].born(newest_ns, sent_ns(heard, now_ns), now_ns)
        news, time_ns = self._known.at_birth(found.tag, columns.time_ns, born_ns)
        if not news.any():
            return []
        at = found.tag[news]
        columns = Columns(columns.tag[news], time_ns[news], columns.value[news], columns.quality[news])
        self.late.ended(self._known.ended(at, columns.time_ns))
        self._known.take(at, columns)
        return [Delivery(columns, born_ns)]

    def _death(self, node: str, step: Step, now_ns: int) -> list[Delivery]:
        """The tags of what died are bad from now on.

        A device's death says when that was. A node's was written before it was born, and says nothing.
        Source: tck-id-operational-behavior-edge-node-termination-host-action-ndeath-node-tags-stale and
        -ddeath-devices-tags-stale.
        """
        clock, message = self._clocks[node], step.message
        device = message.device if message is not None else "".join(step.devices)
        at_ns = clock.at(now_ns)
        if message is not None and device:
            at_ns = clock.said(sent_ns(message.heard, at_ns), now_ns)
        delivered = self._mark(node, step.devices, at_ns, NO_COMMUNICATION)
        if step.devices:
            self.tale.gone(node, device, sum(len(d.columns) for d in delivered), now_ns)
        return delivered

    def _mark(self, node: str, devices: Sequence[str], at_ns: int, quality: int) -> list[Delivery]:
        tags = [self.nodes[node].devices[d].table.tag for d in devices]
        at = np.unique(np.concatenate(tags)) if tags else np.empty(0, np.intp)
        columns = self._known.mark(at, at_ns, quality)
        return [Delivery(columns)] if len(columns) else []

    def _take_texts(self, where: str, heard: Heard, found: Found) -> None:
        for place, name in found.texts.items():
            text = heard.metrics.text.get(place)
            key = f"{where}/{name}"
            if text is not None and text != self._last_text.get(key):
                self._last_text[key] = text
                self.tale.text(key, text)
