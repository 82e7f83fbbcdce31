"""Sparkplug B with aliases, from the broker to the disk, beside a callback that reads every metric's fields.

Both are fed by the same edge node through the same real broker, in turns; what is compared is the processor
time of the whole client. The plain way knows no births, checks no numbers and keeps nothing.
"""

from __future__ import annotations

import asyncio
import shutil
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np
from paho.mqtt import client as paho

from benchmarks import prepared
from benchmarks.answers import same_rows
from benchmarks.collector_mqtt import broker
from benchmarks.figure import Figure, medians
from benchmarks.sparkplug_publisher import DEVICE, GROUP, NODE, TOPIC, Published
from collector import Inbox, Roster, SourceMapping, TagMapping, WallClock, Writer, collect, tags_of
from collector.mqtt.broker import Broker
from collector.mqtt.sparkplug_source import SparkplugSource
from collector.sparkplug.sparkplug_b_pb2 import Payload
from historian.embedded.store import EmbeddedStore
from historian.frame import Frame

METRICS: Final = 200
BAR: Final = 1 / 1.3
"""Ours may take 1.3 times the processor time of the plain callback."""

RATE_BAR: Final = 500_000
"""Metrics a second that one core can take."""

_RATE_HZ: Final = 500.0
_LONGEST_S: Final = 120.0
_DOUBLE: Final = 10


def figures(quick: bool) -> Iterator[Figure]:
    """Microseconds of processor time a message; metrics that a core can take."""
    messages = 600 if quick else 3_000
    with prepared.alone():
        took, bare = medians(partial(ours, messages), partial(plain, messages))
    name = f"Sparkplug B with aliases, CPU µs a message of {METRICS} metrics"
    yield Figure(name, took, bare, BAR, True, quick)
    yield Figure("Sparkplug B, metrics a core-second", METRICS * 1e6 / took, RATE_BAR, 1.0, quick=quick)


def plain(messages: int) -> float:
    """Microseconds of processor time a message of a callback that reads every metric."""
    heard, done, subscribed = 0, threading.Event(), threading.Event()
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, "plain", protocol=paho.MQTTv5)

    def hear(_client: paho.Client, _userdata: object, message: paho.MQTTMessage) -> None:
        nonlocal heard
        read(message.payload)
        heard += 1
        if heard == messages:
            done.set()

    client.on_message = hear
    client.on_subscribe = lambda *_: subscribed.set()
    client.on_connect = lambda *_: client.subscribe(TOPIC, 1)
    with broker() as port:
        client.connect("127.0.0.1", port)
        client.loop_start()
        if not subscribed.wait(_LONGEST_S):
            raise TimeoutError("the plain client was not let in")
        start_s = time.process_time()
        with publishing(messages, port):
            if not done.wait(_LONGEST_S):
                raise TimeoutError(f"{heard} of {messages} messages came to the plain callback")
            took_s = time.process_time() - start_s
        client.disconnect()
        client.loop_stop()
    return took_s / messages * 1e6


def read(body: bytes) -> list[tuple[int, int, int, float | None]]:
    """Alias, time, type and value of every metric; None where it is null."""
    found = []
    for metric in Payload.FromString(body).metrics:
        value = None
        if not metric.is_null:
            value = metric.double_value if metric.datatype == _DOUBLE else metric.float_value
        found.append((metric.alias, metric.timestamp, metric.datatype, value))
    return found


def ours(messages: int) -> float:
    """The same until every sample is on disk."""
    folder = Path(tempfile.mkdtemp(prefix="sparkplug-", dir=prepared.BUILD))
    mapping = SourceMapping(
        "bench",
        "mqtt",
        False,
        tuple(TagMapping(f"own.m{n}.pv", f"{NODE}/{DEVICE}/m{n}", "Cel") for n in range(METRICS)),
    )
    try:
        with broker() as port, closing(EmbeddedStore.open(folder)) as store:
            took_s, sent = asyncio.run(_collected(messages, port, mapping, store))
            found = store.read([t.path for t in mapping.tags], 0, 2**62)
            # The first is that of the birth, which tells no value yet.
            kept = [np.asarray(s.value)[1:] for s in found.values()]
            same_rows(np.concatenate(kept), np.array(sent).T.ravel(), "the store")
    finally:
        shutil.rmtree(folder)
    return took_s / messages * 1e6


async def _collected(
    messages: int, port: int, mapping: SourceMapping, store: EmbeddedStore
) -> tuple[float, list[list[float]]]:
    tags = store.register(tags_of([mapping]))
    inbox = Inbox([mapping], tags)
    writer = Writer(store, inbox, _NoJudge(), WallClock(), lambda _event: None)
    source = SparkplugSource(
        mapping, tags, Broker("127.0.0.1", port, "ours", session_s=0), group=GROUP, host_id="ours"
    )
    roster = Roster(inbox, WallClock())
    roster.start(source)
    task = asyncio.create_task(collect(roster, writer))
    try:
        await _until(lambda: source.status.state == "connected", "our source was not let in")
        sent = Published(port, METRICS, messages, _RATE_HZ, seed=1).values()
        with publishing(messages, port):
            await _until(lambda: source.counts.received >= METRICS, "the births did not come")
            await asyncio.sleep(1.0)
            start_s = time.process_time()
            rows = METRICS * (messages + 1)
            await _until(lambda: source.counts.received >= rows, f"not all of {rows} samples came to ours")
            inbox.hurry()
            path = mapping.tags[-1].path
            await _until(lambda: store.latest([path])[path].value == sent[-1][-1], "not all is on disk")
            return time.process_time() - start_s, sent
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def _until(true: Callable[[], bool], why: str) -> None:
    end_s = time.monotonic() + _LONGEST_S
    while not true():
        if time.monotonic() > end_s:
            raise TimeoutError(why)
        await asyncio.sleep(0.05)


class _NoJudge:
    """Judges nothing: only bringing samples to the disk is measured."""

    def feed(self, seq: int, frame: Frame) -> None:
        """Nothing."""

    def advance(self, now_ns: int) -> None:
        """Nothing."""


@contextmanager
def publishing(messages: int, port: int) -> Iterator[None]:
    """An edge node that publishes while the block runs."""
    process = Published(port, METRICS, messages, _RATE_HZ, seed=1).start()
    try:
        yield
        process.wait(_LONGEST_S)
    except subprocess.TimeoutExpired as late:
        raise TimeoutError("the publisher did not end") from late
    finally:
        process.kill()
        process.wait()
