"""A Sparkplug host application without its network: from messages to samples, commands and events.

Source: Sparkplug specification 3.0, chapters 5 (operational behaviour) and 6 (payloads).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from collector.columns import Columns
from collector.complaints import Complaints
from collector.mapping import TYPE_MISMATCH
from collector.readings import Readings
from collector.sparkplug.decode import LARGEST_BYTE, Decoder, Malformed
from collector.sparkplug.known import Known, Places
from collector.sparkplug.late import Late
from collector.sparkplug.metrics import NO_TIME, Heard, Metrics, numbers
from collector.sparkplug.node import Act, Message, Node, Step
from collector.sparkplug.table import Found, Table
from collector.sparkplug.topic import Address, Topic, read_topic
from historian.frame import NS, Qualities
from historian.quality import BAD, NO_COMMUNICATION, NO_DATA

COMPLAINTS: Final[dict[str, str]] = {
    "payload": "messages that are no Sparkplug B payload, or too large",
    "type": "values of metrics whose type is no number; map them as texts, or take them out of the file",
    "value": "values that do not have the type that their birth says; they are kept as bad",
    "alias": "metrics that no birth has named; the node is asked to be born again",
    "quality": "qualities other than 0, 192 and 500; they are kept as uncertain",
}
"""What cannot be read, as ``Complaints`` takes it."""

_TOPICS: Final = 10_000
_SHOWN: Final = 30
_CLOCK_OFF_NS: Final = 2 * NS
_CREDIBLE_NS: Final = 60 * NS

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


@dataclass(frozen=True, slots=True)
class Told:
    """Something to be told: kind of the event, a sentence, figures."""

    kind: str
    text: str
    data: Mapping[str, object]


class Host:
    """What a host application knows and concludes.

    Args:
        name: of the source, for texts.
        group: whose nodes are heard.
        addresses: where each tag is found, in the source's order.
        texts: metrics that are wanted as texts.
        readings: of the source's tags, in the same order.
        complaints: counts what cannot be read.
        reorder_ns: how long a message may be missing before its node is asked for a rebirth.
        passing: which live samples are worth keeping; None keeps every one.

    Attributes:
        nodes: by name; those that the source's addresses name, and no others.
        late: what was delivered late.
        received, unstamped: samples, and those of them that had no time of their own.
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
    ) -> None:
        self._name, self._group, self._readings, self._complaints = name, group, readings, complaints
        self._passing = passing
        self._addresses = addresses
        self._tags: dict[tuple[str, str], dict[str, int]] = {}
        for place, a in enumerate(addresses):
            self._tags.setdefault((a.node, a.device), {})[a.metric] = place
        self._texts = {(a.node, a.device, a.metric) for a in texts}
        self._last_text: dict[tuple[str, str, str], str] = {}
        self.nodes = {
            node: Node(self._table_maker(node), reorder_ns)
            for node in dict.fromkeys(a.node for a in (*addresses, *texts))
        }
        self._offset_ns = dict.fromkeys(self.nodes, 0)
        self._heard_ns = dict.fromkeys(self.nodes, 0)
        self._decoder = Decoder(largest_byte)
        self._topics: dict[str, Topic | None] = {}
        self._known = Known(readings.tag_id)
        self.late = Late()
        self._told: list[Told] = []
        self.received = self.unstamped = 0

    def _table_maker(self, node: str) -> Callable[[str, Metrics], Table]:
        def make(device: str, metrics: Metrics) -> Table:
            texts = frozenset(m for n, d, m in self._texts if (n, d) == (node, device))
            return Table(metrics, self._tags.get((node, device), {}), texts)

        return make

    def hear(self, topic: str, body: bytes, now_ns: int) -> list[Delivery]:
        """What a message brings."""
        about = self._topics.get(topic)
        if about is None:
            if topic in self._topics:
                return []
            if len(self._topics) >= _TOPICS:
                self._topics.clear()
            about = self._topics[topic] = read_topic(topic, self._group)
            if about is None:
                return []
        node = self.nodes.get(about.node)
        if node is None:
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
            if reason is None:
                continue
            asked.append(name)
            vain = node.asking.asked - 1
            again = f" It has been asked {vain} times in vain." if vain else ""
            self._tell(
                "rebirth-asked",
                f"Edge node {name} of source {self._name} is asked to be born again: {reason}.{again}",
                {"node": name, "reason": reason, "in_vain": vain},
            )
        return asked

    def unsure(self, reason: str) -> None:
        """The connection was made anew: nothing is known of any node until it is born."""
        self._known.lost()
        for node in self.nodes.values():
            node.unsure()
            node.asking.want(reason)

    def told(self) -> list[Told]:
        """What is to be told since the last call; hands it over."""
        told, self._told = self._told, []
        return told

    def node_time_ns(self, node: str, now_ns: int) -> int:
        """A node's own time: this computer's, unless the node's clock is known to be off."""
        offset_ns = self._offset_ns[node]
        return now_ns + offset_ns if abs(offset_ns) > _CLOCK_OFF_NS else now_ns

    @property
    def unborn(self) -> list[int]:
        """Places of the tags whose metric no birth has named."""
        born = set()
        for node in self.nodes.values():
            for device in node.devices.values():
                born.update(device.table.tag.tolist())
        return [place for place in range(len(self._addresses)) if place not in born]

    @property
    def missed(self) -> int:
        """Messages that are known to be lost."""
        return sum(node.missed for node in self.nodes.values())

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
                at_ns = min(self._heard_ns[node] or now_ns, self.node_time_ns(node, now_ns))
                found.extend(self._mark(node, step.devices, at_ns, NO_DATA))
        return found

    def _data(self, node: str, message: Message, *, late: bool) -> list[Delivery]:
        heard, table = message.heard, self.nodes[node].devices[message.device].table
        found = table.find(heard.metrics)
        where = f"{node}/{message.device}"
        if found.unknown:
            self._complaints.add("alias", where, f"{found.unknown} metrics", found.unknown)
            self.nodes[node].asking.want(f"{found.unknown} metrics of {where} are of no birth")
        if found.texts:
            self._take_texts(node, message, found)
        if not late:
            self._set_clock(node, heard, message.now_ns)
        at, columns = found.tag, self._columns(found, message, where)
        if not len(at):
            return []
        historical = heard.metrics.historical[found.which]
        if historical.any():
            self.late.add(columns.chosen(historical), message.now_ns)
            at, columns = at[~historical], columns.chosen(~historical)
            if not len(at):
                return []
        if late:
            return [Delivery(Columns(columns.tag, columns.time_ns, columns.value, columns.quality, True))]
        self._known.take(at, columns)
        if self._passing is not None:
            columns = columns.chosen(self._passing(at, columns))
        return [Delivery(columns)]

    def _birth(self, node: str, message: Message, *, changed: bool) -> list[Delivery]:
        heard, device = message.heard, message.device
        table = self.nodes[node].devices[device].table
        self._set_clock(node, heard, message.now_ns)
        if changed:
            self._tell_birth(node, device, table)
        found = table.find(heard.metrics)
        self._take_texts(node, message, found)
        columns = self._columns(found, message, f"{node}/{device}")
        sent_ns = self._sent_ns(heard, message.now_ns)
        news, time_ns = self._known.at_birth(found.tag, columns.time_ns, sent_ns)
        at, columns = found.tag[news], columns.chosen(news)
        columns = Columns(columns.tag, time_ns[news], columns.value, columns.quality)
        if not len(at):
            return []
        self.late.ended(self._known.ended(at, columns.time_ns))
        self._known.take(at, columns)
        return [Delivery(columns, sent_ns)]

    def _death(self, node: str, step: Step, now_ns: int) -> list[Delivery]:
        """A node's death was written before it was born: only a device's says when it died.

        Source: tck-id-operational-behavior-edge-node-termination-host-action-ndeath-node-tags-stale and
        -ddeath-devices-tags-stale.
        """
        at_ns = self.node_time_ns(node, now_ns)
        message = step.message
        of_device = bool(message and message.device)
        if message is not None and of_device and message.heard.time_ms != NO_TIME:
            said_ns = message.heard.time_ms * 1_000_000
            at_ns = said_ns if abs(said_ns - at_ns) <= _CREDIBLE_NS else at_ns
        delivered = self._mark(node, step.devices, at_ns, NO_COMMUNICATION)
        whose = f"Device {step.devices[0]} of edge node {node}" if of_device else f"Edge node {node}"
        if step.devices and (delivered or not of_device):
            n = sum(len(d.columns) for d in delivered)
            text = (
                f"{whose} of source {self._name} is gone; {n} tags are marked as bad until it is born again."
            )
            self._tell("node-gone", text, {"node": node, "devices": list(step.devices), "tags": n})
        return delivered

    def _mark(self, node: str, devices: Sequence[str], at_ns: int, quality: int) -> list[Delivery]:
        tables = [self.nodes[node].devices[d].table for d in devices]
        at = np.concatenate([t.tag for t in tables]) if tables else np.empty(0, np.intp)
        columns = self._known.mark(at, at_ns, quality)
        return [Delivery(columns)] if len(columns) else []

    def _columns(self, found: Found, message: Message, where: str) -> Columns:
        """The samples of a message's tags, in the tags' units."""
        heard, which = message.heard, found.which
        metrics = heard.metrics
        if found.refused:
            self._complaints.add("type", where, f"{found.refused} metrics", found.refused)
        value, wrong = numbers(metrics, which, found.types)
        quality = metrics.quality[which]
        null = metrics.null[which]
        if null.any():
            value, wrong = np.where(null, np.nan, value), wrong & ~null
            quality = _at_least_bad(quality, null, BAD)
        if wrong.any():
            self._complaints.add("value", where, f"{int(wrong.sum())} metrics", int(wrong.sum()))
            quality = _at_least_bad(quality, wrong, TYPE_MISMATCH)
        if metrics.odd:
            self._complaints.add("quality", where, f"{len(metrics.odd)} metrics", len(metrics.odd))
        time_ms = metrics.time_ms[which]
        unstamped = time_ms == NO_TIME
        time_ns = time_ms * 1_000_000
        if unstamped.any():
            self.unstamped += int(unstamped.sum())
            time_ns[unstamped] = self._sent_ns(heard, message.now_ns)
        value, quality = self._readings.take_columns(found.tag, value, quality)
        self.received += len(which)
        return Columns(self._readings.tag_id[found.tag], time_ns, value, quality)

    def _sent_ns(self, heard: Heard, now_ns: int) -> int:
        return now_ns if heard.time_ms == NO_TIME else heard.time_ms * 1_000_000

    def _set_clock(self, node: str, heard: Heard, now_ns: int) -> None:
        if heard.time_ms != NO_TIME:
            self._heard_ns[node] = heard.time_ms * 1_000_000
            self._offset_ns[node] = self._heard_ns[node] - now_ns

    def _take_texts(self, node: str, message: Message, found: Found) -> None:
        for place, name in found.texts.items():
            text = message.heard.metrics.text.get(place)
            key = (node, message.device, name)
            if text is not None and text != self._last_text.get(key):
                self._last_text[key] = text
                where = "/".join(key)
                self._tell("text", f"{where}: {text[:400]}", {"metric": where, "text": text[:4000]})

    def _tell_birth(self, node: str, device: str, table: Table) -> None:
        whose = f"Device {device} of edge node {node}" if device else f"Edge node {node}"
        said = [f"{whose} of source {self._name} was born: {len(table.tag)} of its metrics are tags"]
        if table.unmapped:
            said.append(f"{len(table.unmapped)} are nobody's ({_listed(table.unmapped)})")
        if table.refused:
            words = [f"{name}: {kind}" for name, kind in table.refused.items()]
            said.append(f"{len(words)} are no numbers and are left out ({_listed(words)})")
        if table.lacking:
            said.append(
                f"{len(table.lacking)} that the line's file names are not there ({_listed(table.lacking)})"
            )
        data = {
            "node": node,
            "device": device,
            "tags": len(table.tag),
            "unmapped": table.unmapped[:1000],
            "refused": dict(list(table.refused.items())[:1000]),
            "lacking": table.lacking[:1000],
        }
        self._tell("node-born", f"{'; '.join(said)}.", data)

    def _tell(self, kind: str, text: str, data: Mapping[str, object]) -> None:
        self._told.append(Told(kind, text, data))


def _at_least_bad(quality: Qualities, which: NDArray[np.bool_], otherwise: int) -> Qualities:
    """These are bad: as they say themselves, or as is said here."""
    good = which & ((quality & np.uint32(BAD)) == 0)
    return np.where(good, np.uint32(otherwise), quality)


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return ", ".join(name[:80] for name in names[:_SHOWN]) + more
