"""One edge node as a host sees it: whether it lives, whether what it says can be understood, what is missing.

A node is **in step** from its birth until a number is missing for too long. While it is not, what it says by
alias is held back until it is born again: a birth that was missed may have given the aliases another meaning.
When the new birth gives every metric the same alias and type as the one before, what was held back is taken;
when it does not, it is left out, and counted.

Source: Sparkplug specification 3.0, 5.4 to 5.7 and 5.9; tck-id-operational-behavior-host-reordering-*,
tck-id-operational-behavior-edge-node-termination-host-action-*, tck-id-payloads-nbirth-bdseq.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import Final

from collector.sparkplug.metrics import Heard, Metrics
from collector.sparkplug.order import Order
from collector.sparkplug.rebirth import Asking
from collector.sparkplug.table import Table
from collector.sparkplug.topic import Verb
from historian.frame import NS

BD_SEQ: Final = "bdSeq"
_HELD_METRICS: Final = 200_000
_BELIEVE_NS: Final = 30 * NS
_DEVICE_NS: Final = 10 * NS
_DEVICES: Final = 1_000


@dataclass(frozen=True, slots=True)
class Message:
    """What arrived.

    Attributes:
        device: empty for the node's own.
        now_ns: when it arrived.
    """

    verb: Verb
    device: str
    heard: Heard
    now_ns: int


class Act(Enum):
    """What is to be done."""

    BIRTH = "birth"
    DATA = "data"
    DEATH = "death"
    GAP = "gap"


@dataclass(frozen=True, slots=True)
class Step:
    """Something to be done with the tags of some devices of a node.

    Attributes:
        devices: whose; empty text for the node's own.
        message: that says so; None when it is found by time passing.
        changed: of a birth: whether it says something else than the one before.
        late: of data: whether it was held back, so that newer data may have been taken before.
    """

    act: Act
    devices: tuple[str, ...]
    message: Message | None = None
    changed: bool = False
    late: bool = False


@dataclass(slots=True)
class Device:
    """A device, or the node itself.

    Attributes:
        table: of its newest birth.
        sure: whether that is still what its messages mean.
        alive: whether it was born and has not died since.
        awaited_ns: since when its birth is awaited, after the node's own.
    """

    table: Table
    sure: bool = True
    alive: bool = True
    awaited_ns: int | None = None


class Node:
    """What is known of one edge node.

    Args:
        make_table: from a device and the metrics of its birth to what they mean.
        reorder_ns: how long a number may be missing.

    Attributes:
        devices: by name; the node's own under the empty text.
        asking: whether and when it is to be asked for a rebirth.
        missed: messages that are known to be lost, or had to be left out.
        stale_deaths, repeated: deaths of earlier sessions, births that changed nothing.
    """

    def __init__(self, make_table: Callable[[str, Metrics], Table], reorder_ns: int) -> None:
        self._make_table, self._reorder_ns = make_table, reorder_ns
        self.devices: dict[str, Device] = {}
        self.asking = Asking()
        self.missed = self.stale_deaths = self.repeated = 0
        self._order: Order[Message] | None = None
        self._in_session = False
        self._bd_seq: int | None = None
        self._held: deque[Message] = deque()
        self._held_metrics = 0
        self._held_ns = 0

    @property
    def alive(self) -> bool:
        """Whether it is known to live."""
        return self._in_session and "" in self.devices and self.devices[""].alive

    @property
    def waiting(self) -> int:
        """Messages that are held back."""
        return len(self._held)

    def take(self, message: Message) -> list[Step]:
        """What is to be done now that this has arrived."""
        if message.verb is Verb.NBIRTH:
            return self._born(message)
        if message.verb is Verb.NDEATH:
            return self._died(message)
        seq = message.heard.seq
        if self._order is None or seq is None:
            return self._apply(message)
        due = self._order.take(seq, message, message.now_ns)
        return [step for one in due for step in self._apply(one)]

    def due(self, now_ns: int) -> list[Step]:
        """What is to be done because time has passed."""
        steps: list[Step] = []
        if self._order is not None and self._order.broken(now_ns):
            steps.extend(self._out_of_step())
        for name, device in self.devices.items():
            if device.awaited_ns is not None and abs(now_ns - device.awaited_ns) >= _DEVICE_NS:
                device.awaited_ns, device.alive = None, False
                steps.append(Step(Act.DEATH, (name,)))
        if self._held and abs(now_ns - self._held_ns) >= _BELIEVE_NS:
            steps.extend(self._believe())
        return steps

    def unsure(self) -> None:
        """The broker was away: whatever the node said meanwhile was not heard."""
        self._order, self._in_session = None, False
        self._held.clear()
        self._held_metrics = 0
        for device in self.devices.values():
            device.sure, device.awaited_ns = False, None

    def _born(self, message: Message) -> list[Step]:
        steps: list[Step] = []
        heard, before = message.heard, self._order
        bd_seq = heard.number_of(BD_SEQ)
        if self.alive and bd_seq != self._bd_seq:
            # Another session: the death of the one before, and what came before it, was not heard.
            steps.append(Step(Act.GAP, tuple(self.devices)))
        self._bd_seq, self._in_session = bd_seq, True
        for name, device in self.devices.items():
            if name:
                device.sure, device.awaited_ns = False, message.now_ns if device.alive else None
        self._order = None if heard.seq is None else Order(heard.seq + 1, self._reorder_ns)
        self.asking.answered()
        steps.extend(self._device_born(message))
        for early in before.release()[0] if before is not None else ():
            # What overtook the birth belongs behind it, what was sent before it does not.
            if early.heard.time_ms >= heard.time_ms:
                steps.extend(self.take(early))
            else:
                self._hold(early)
        return steps

    def _died(self, message: Message) -> list[Step]:
        bd_seq = message.heard.number_of(BD_SEQ)
        if self._in_session and bd_seq is not None and bd_seq != self._bd_seq:
            self.stale_deaths += 1
            return []
        if bd_seq is None:
            self.asking.want("its death does not say which session has ended")
        self._order, self._in_session = None, False
        for device in self.devices.values():
            device.sure = device.alive = False
            device.awaited_ns = None
        return [Step(Act.DEATH, tuple(self.devices), message)]

    def _apply(self, message: Message) -> list[Step]:
        """One message in its turn."""
        if message.verb is Verb.DBIRTH:
            if not self._in_session:
                self.asking.want(f"a birth of its device {message.device} came before its own")
            return self._device_born(message)
        device = self.devices.get(message.device)
        if message.verb is Verb.DDEATH:
            if device is None:
                return []
            device.sure = device.alive = False
            device.awaited_ns = None
            return [Step(Act.DEATH, (message.device,), message)]
        if device is not None and device.sure:
            return [Step(Act.DATA, (message.device,), message)]
        self.asking.want("data came before a birth")
        self._hold(message)
        return []

    def _device_born(self, message: Message) -> list[Step]:
        name = message.device
        before = self.devices.get(name)
        if before is None and len(self.devices) >= _DEVICES:
            return []
        table = self._make_table(name, message.heard.metrics)
        same = before is not None and table.meaning == before.table.meaning
        self.repeated += same and before is not None and before.sure
        self.devices[name] = Device(table)
        held = [m for m in self._held if m.device == name]
        self._held = deque(m for m in self._held if m.device != name)
        self._held_metrics -= sum(len(m.heard.metrics) for m in held)
        if not same:
            self.missed += len(held)
            held = []
        return [
            *(Step(Act.DATA, (name,), m, late=True) for m in held),
            Step(Act.BIRTH, (name,), message, changed=not same),
        ]

    def _out_of_step(self) -> list[Step]:
        """A number is missing for good."""
        if self._order is None:
            return []
        early, missing = self._order.release()
        self.missed += max(1, missing)
        self._order = None
        for device in self.devices.values():
            device.sure = False
        self.asking.want(f"{max(1, missing)} of its messages are missing")
        gap = Step(Act.GAP, tuple(n for n, d in self.devices.items() if d.alive))
        return [gap, *(step for message in early for step in self._apply(message))]

    def _hold(self, message: Message) -> None:
        """Keep data until their birth comes, up to a limit."""
        if message.verb not in (Verb.NDATA, Verb.DDATA):
            return
        if not self._held:
            self._held_ns = message.now_ns
        self._held.append(message)
        self._held_metrics += len(message.heard.metrics)
        while self._held_metrics > _HELD_METRICS or len(self._held) > _HELD_METRICS // 100:
            self._held_metrics -= len(self._held.popleft().heard.metrics)
            self.missed += 1

    def _believe(self) -> list[Step]:
        """The node does not answer: go on with what is known of it."""
        held, self._held, self._held_metrics = self._held, deque(), 0
        for name in {m.device for m in held} & set(self.devices):
            self.devices[name].sure = True
        known = [m for m in held if m.device in self.devices]
        self.missed += len(held) - len(known)
        return [Step(Act.DATA, (m.device,), m, late=True) for m in known]
