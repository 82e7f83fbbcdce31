"""A Sparkplug B edge node: which messages it sends, in which order and with which numbers. No network here.

Source: Sparkplug specification 3.0, chapters 4 (topics), 5 (operational behaviour) and 6 (payloads).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby, islice
from typing import Final

from google.protobuf.message import DecodeError

from historian.errors import WrongInput
from historian.tags import Tag
from simulator.published import Sample
from simulator.sensors import source_of
from simulator.serving.outbox import Message
from simulator.sparkplug.metrics import by_column, metrics_of, put_birth, put_data
from simulator.sparkplug.sparkplug_b_pb2 import Payload
from simulator.sparkplug.types import DataType

REBIRTH: Final = "Node Control/Rebirth"
# A convention of earlier editions that hosts still use; 3.0 names the node's control only.
DEVICE_REBIRTH: Final = "Device Control/Rebirth"
SIMULATED: Final = "Properties/Simulated"
_NUMBERS: Final = 256
_MOST_SAMPLES = 500


class EdgeNode:
    """The numbers and the newest values of an edge node, and the messages that follow from them.

    Machines are its devices; the line's own signals (power, hall, product) are metrics of the node. A device
    whose source is away is dead until it comes back; the node lives on.

    Args:
        group, name: group and edge node id, parts of every topic.
        tags: what is published; a sample's column is the place here.
        last_bd_seq: number of the last connection there ever was; −1: none.

    Attributes:
        bd_seq: number of the present connection.

    Raises:
        WrongInput: an id that cannot stand in a topic.
    """

    def __init__(self, group: str, name: str, tags: Sequence[Tag], *, last_bd_seq: int = -1) -> None:
        for what, word in (("group", group), ("edge node", name)):
            if not word or set(word) & set("+/#\0"):
                raise WrongInput(f"'{word}': the Sparkplug {what} is a word without +, / and #")
        self._group = group
        self._name = name
        self.metrics = metrics_of(tags)
        self._of_column = by_column(self.metrics)
        self._newest: dict[int, Sample] = {}
        self.bd_seq = last_bd_seq
        self._seq = 0
        self._sources = {
            m.device: source_of(tags[m.column].path) for m in self.metrics if m.device is not None
        }
        self.devices = list(self._sources)
        self._away: frozenset[str] = frozenset()

    @property
    def command_topics(self) -> tuple[str, str]:
        """Where commands to the node and to its devices arrive, as filters.

        Source: tck-id-message-flow-edge-node-ncmd-subscribe, tck-id-message-flow-device-dcmd-subscribe.
        """
        return self._topic("NCMD"), self._topic("DCMD", "+")

    def death(self, now_ns: int) -> Message:
        """The will of the next connection; from here on births carry its number."""
        self.bd_seq = (self.bd_seq + 1) % _NUMBERS
        return self.last_words(now_ns)

    def last_words(self, now_ns: int) -> Message:
        """The death of this connection again, for a goodbye that the broker must not keep to itself.

        Source: tck-id-payloads-ndeath-will-message-publisher-disconnect-mqtt311.
        """
        payload = Payload(timestamp=_ms(now_ns))
        payload.metrics.add(
            name="bdSeq", datatype=DataType.INT64, long_value=self.bd_seq, timestamp=_ms(now_ns)
        )
        return Message(self._topic("NDEATH"), payload.SerializeToString(), qos=1)

    def remember(self, samples: Sequence[Sample]) -> None:
        """These are the newest samples of their tags: births tell them."""
        self._newest.update((sample.column, sample) for sample in samples)

    def told_at_birth(self, sample: Sample) -> bool:
        """Whether it is the sample that a birth would tell of its tag now."""
        return self._newest.get(sample.column) is sample

    def dead(self, sample: Sample) -> bool:
        """Whether it is a sample of a device that is dead, which has no data."""
        device = self._of_column[sample.column][0].device
        return device is not None and self._sources[device] in self._away

    def mind(self, away: frozenset[str], now_ns: int) -> list[Message]:
        """The deaths of devices whose source has gone, and the births of those whose source is back.

        Source: tck-id-operational-behavior-device-ddeath, tck-id-payloads-ddeath-timestamp, -seq, -seq-inc.

        Args:
            away: sources that nothing can be heard of now.
        """
        before, self._away = self._away, away
        messages = []
        for device, source in self._sources.items():
            if source in away - before:
                payload = Payload(timestamp=_ms(now_ns), seq=self._next_seq())
                messages.append(Message(self._topic("DDEATH", device), payload.SerializeToString()))
            elif source in before - away:
                messages.append(self._device_birth(device, _ms(now_ns)))
        return messages

    def births(self, now_ns: int) -> list[Message]:
        """The node's birth and then those of its living devices; numbers start again at 0."""
        self._seq = 0
        now_ms = _ms(now_ns)
        payload = Payload(timestamp=now_ms)
        payload.metrics.add(name="bdSeq", datatype=DataType.INT64, long_value=self.bd_seq, timestamp=now_ms)
        # tck-id-operational-behavior-data-commands-rebirth-name-aliases: hosts write to it by name.
        payload.metrics.add(name=REBIRTH, datatype=DataType.BOOLEAN, boolean_value=False, timestamp=now_ms)
        payload.metrics.add(name=SIMULATED, datatype=DataType.BOOLEAN, boolean_value=True, timestamp=now_ms)
        return [
            self._birth(payload, None, now_ms),
            *(self._device_birth(device, now_ms) for device in self._living),
        ]

    def data(self, samples: Sequence[Sample], now_ns: int, *, historical: bool = False) -> list[Message]:
        """The samples, node and devices apart, each in order of time.

        Args:
            historical: whether a host must not take them for the state of now.
        """
        messages = []
        rest = iter(samples)
        while part := list(islice(rest, _MOST_SAMPLES)):
            # A message carries one machine's samples; sorting is stable, so times stay in order.
            part.sort(key=self._place)
            for _, own in groupby(part, key=self._place):
                messages.append(self._data(list(own), _ms(now_ns), historical=historical))
        return messages

    def answer(self, topic: str, body: bytes, now_ns: int) -> list[Message]:
        """The births that a command asks for; none for what is no such command or is not understood.

        Source: tck-id-operational-behavior-data-commands-rebirth-action-1 to -3: no data before the births,
        and the number of the connection stays.
        """
        try:
            asked = {m.name for m in Payload.FromString(body).metrics if m.boolean_value}
        except DecodeError:
            return []
        if topic == self._topic("NCMD") and REBIRTH in asked:
            return self.births(now_ns)
        device = next((d for d in self._living if topic == self._topic("DCMD", d)), None)
        if device is not None and DEVICE_REBIRTH in asked:
            return [self._device_birth(device, _ms(now_ns))]
        return []

    @property
    def _living(self) -> list[str]:
        return [device for device, source in self._sources.items() if source not in self._away]

    def _device_birth(self, device: str, now_ms: int) -> Message:
        payload = Payload(timestamp=now_ms)
        payload.metrics.add(
            name=DEVICE_REBIRTH, datatype=DataType.BOOLEAN, boolean_value=False, timestamp=now_ms
        )
        return self._birth(payload, device, now_ms)

    def _birth(self, payload: Payload, device: str | None, now_ms: int) -> Message:
        for metric in self.metrics:
            if metric.device == device:
                put_birth(payload, metric, self._newest.get(metric.column), now_ms)
        payload.seq = self._next_seq()
        kind = "NBIRTH" if device is None else "DBIRTH"
        return Message(self._topic(kind, device), payload.SerializeToString())

    def _data(self, samples: list[Sample], now_ms: int, *, historical: bool) -> Message:
        payload = Payload(timestamp=now_ms, seq=self._next_seq())
        for sample in samples:
            for metric in self._of_column[sample.column]:
                put_data(payload, metric, sample, historical=historical)
        device = self._of_column[samples[0].column][0].device
        kind = "NDATA" if device is None else "DDATA"
        return Message(self._topic(kind, device), payload.SerializeToString(), samples=len(samples))

    def _place(self, sample: Sample) -> str:
        return self._of_column[sample.column][0].device or ""

    def _next_seq(self) -> int:
        number, self._seq = self._seq, (self._seq + 1) % _NUMBERS
        return number

    def _topic(self, kind: str, device: str | None = None) -> str:
        end = "" if device is None else f"/{device}"
        return f"spBv1.0/{self._group}/{kind}/{self._name}{end}"


def _ms(time_ns: int) -> int:
    return time_ns // 1_000_000
