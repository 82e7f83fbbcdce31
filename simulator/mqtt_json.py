"""Publishes a line's samples to an MQTT broker as JSON: one tag a message, or one message a second."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import groupby
from typing import Any, Literal

import structlog

from historian.errors import WrongInput
from historian.frame import NS
from historian.tags import Tag, TagKind
from simulator.mqtt import WINDOW, Link
from simulator.published import Sample
from simulator.serving.broker import Broker
from simulator.serving.feed import Feed
from simulator.serving.outbox import Message, Outbox
from simulator.serving.session import serve_session

_log = structlog.get_logger(__name__)


@dataclass(frozen=True, slots=True)
class Form:
    """How samples become messages.

    One tag a message: ``PREFIX/filter/inlet/pressure/pv`` with ``{"t": …, "v": 71.3, "q": 0}``.
    In batches: ``PREFIX/batch`` with an array of the same objects, each with its ``tag``, one message for all
    samples of one source time. ``v`` is null where there is no value; ``q`` is the OPC UA StatusCode.

    Attributes:
        tags: what is published; a sample's column is the place here.
        prefix: start of every topic.
        batch: whether the samples of one time travel together.
        time: source times as ISO 8601 text in UTC, or as whole milliseconds since 1970.
        qos: 0 or 1.
    """

    tags: Sequence[Tag]
    prefix: str = "meltledger/line"
    batch: bool = False
    time: Literal["iso", "ms"] = "iso"
    qos: int = 1

    def __post_init__(self) -> None:
        if not self.prefix.strip("/") or set(self.prefix) & set("+#\0") or self.prefix.startswith("$"):
            raise WrongInput(f"'{self.prefix}': a topic's start is words joined by /, without + and #")
        if self.qos not in (0, 1):
            raise WrongInput(f"QoS {self.qos}: the simulated line publishes with 0 or 1")

    def messages(self, samples: Sequence[Sample]) -> Iterator[Message]:
        """The messages for these samples, in their order."""
        if not self.batch:
            for sample in samples:
                yield self._message(sample.path.replace(".", "/"), self._body(sample), 1)
            return
        for _, together in groupby(samples, key=lambda sample: sample.time_ns):
            bodies = [{"tag": sample.path, **self._body(sample)} for sample in together]
            yield self._message("batch", bodies, len(bodies))

    def _message(self, topic: str, body: object, samples: int) -> Message:
        text = json.dumps(body, separators=(",", ":"), allow_nan=False)
        return Message(f"{self.prefix.rstrip('/')}/{topic}", text.encode(), self.qos, samples)

    def _body(self, sample: Sample) -> dict[str, str | float | None]:
        return {
            "t": iso(sample.time_ns) if self.time == "iso" else sample.time_ns // 1_000_000,
            "v": self._value(sample),
            "q": sample.quality,
        }

    def _value(self, sample: Sample) -> float | None:
        if not math.isfinite(sample.value):
            return None
        match self.tags[sample.column].kind:
            case TagKind.BOOLEAN:
                return bool(sample.value)
            case TagKind.CODE:
                return int(sample.value)
            case _:
                return sample.value


def iso(time_ns: int) -> str:
    """A time as ISO 8601 in UTC: with milliseconds, and finer only where the time is.

    Example:
        >>> iso(1_000_000_000_000_000_000), iso(1_000_000_000_000_000_007)
        ('2001-09-09T01:46:40.000Z', '2001-09-09T01:46:40.000000007Z')
    """
    seconds, rest = divmod(time_ns, NS)
    digits = f"{rest:09d}"
    fraction = digits[:3] if digits.endswith("000000") else digits
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}.{fraction}Z"


class JsonSession:
    """Samples as JSON messages, kept until the broker has them.

    Args:
        limit: messages kept while the broker is away; beyond it the oldest are lost, and the log says so.
    """

    def __init__(self, broker: Broker, form: Form, *, limit: int = 200_000) -> None:
        self._broker = broker
        self._form = form
        self._outbox = Outbox(limit=limit, window=WINDOW)
        self._link: Link | None = None
        self._lost_told = 0

    @property
    def lost(self) -> int:
        """Samples lost so far because too much waited."""
        return self._outbox.lost

    def link(self, broker: Broker) -> Link:
        """The next connection."""
        return Link(broker, told=self._told)

    def up(self, link: Link) -> None:
        """Send what waits, oldest first."""
        self._link, self._outbox.window = link, link.window
        self._lost_told = self._outbox.lost
        self._send()

    def down(self) -> None:
        """What is in flight will be sent again."""
        self._link = None
        self._outbox.rewind()

    def take(self, samples: list[Sample]) -> None:
        """Put the samples in the queue."""
        for message in self._form.messages(samples):
            self._outbox.put(message)
        if self._outbox.lost > self._lost_told:
            # Once an outage, and then at every tenfold: a line a second would hide the rest of the log.
            _log.error("samples_lost", broker=str(self._broker), n=self._outbox.lost, why="too many wait")
            self._lost_told = 10 * self._outbox.lost
        self._send()

    def pending(self) -> int:
        """Messages that the broker does not have yet."""
        return len(self._outbox)

    async def part(self, link: Link) -> None:
        """Say goodbye."""
        self.down()
        await link.end()

    def _told(self, number: int) -> None:
        self._outbox.acknowledged(number)
        self._send()

    def _send(self) -> None:
        while self._link is not None and (message := self._outbox.next()) is not None:
            self._outbox.sent(self._link.publish(message))


async def serve_json(feed: Feed, broker: Broker, form: Form, **options: Any) -> None:
    """Publish a feed as JSON; options as for ``serve_session``.

    Raises:
        WrongInput, StoreReadOnly: as ``serve_session``.
    """
    await serve_session(feed, JsonSession(broker, form), broker, **options)
