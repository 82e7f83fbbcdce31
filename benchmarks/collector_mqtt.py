"""JSON over MQTT at QoS 1, from the broker to the disk, beside a callback that only parses it.

Both are fed by the same publisher through the same real broker, in turns; what is compared is the processor
time of the whole client. The plain way acknowledges by itself and keeps nothing.
"""

from __future__ import annotations

import asyncio
import json
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Final

import numpy as np
import orjson
from paho.mqtt import client as paho

from benchmarks import prepared
from benchmarks.answers import same_rows
from benchmarks.figure import Figure, medians
from benchmarks.mqtt_publisher import Form, Published
from collector import Inbox, Roster, SourceMapping, TagMapping, WallClock, Writer, collect, tags_of
from collector.json.shape import JsonShape
from collector.mqtt.broker import Broker
from collector.mqtt.json_source import MqttJsonSource
from historian.embedded.store import EmbeddedStore
from historian.frame import Frame

TAGS: Final = 200
ONE_BAR: Final = 1 / 1.4
"""One tag a message: ours may take 1.4 times the processor time of the plain callback."""

BATCH_BAR: Final = 1 / 1.3
RATE_BAR: Final = 500_000
"""Samples a second in batches that one core can take."""

_VERSION: Final = "3.1.1"  # what the library speaks when nothing is said; the plain client says nothing
_WINDOW: Final = 1_000
_LONGEST_S: Final = 120.0
_NAMES: Final = tuple(f"extruder.zone.{n}.temperature.pv" for n in range(TAGS))
_SHAPES: Final = {
    "one": JsonShape("bench/+", name="{1}", value="/v", time="/t", time_format="ms"),
    "object": JsonShape("bench", name="{key}", each="/values", message_time="/t", time_format="ms"),
    "list": JsonShape("bench", name="/name", each="", value="/v", time="/t", time_format="ms"),
}


@dataclass(frozen=True, slots=True)
class Load:
    """What is published in one round: so many messages, so many a second."""

    form: Form
    messages: int
    rate_hz: float
    parse: Callable[[bytes], Any]

    @property
    def samples(self) -> int:
        """How many samples that is."""
        return self.messages * (1 if self.form == "one" else TAGS)


def figures(quick: bool) -> Iterator[Figure]:
    """Microseconds of processor time a message, one tag and in batches; samples a core can take."""
    part = 5 if quick else 1
    with prepared.alone():
        one = Load("one", 25_000 // part, 5_000.0, json.loads)
        yield _figure("one tag a message", _medians(one), ONE_BAR, quick)
        batch, listed = (
            _medians(Load(form, 4_000 // part, 1_500.0, orjson.loads)) for form in ("object", "list")
        )
        beside = {"ours as a list of objects": listed[0], "plain as such a list": listed[1]}
        yield _figure(f"{TAGS} tags a message", batch, BATCH_BAR, quick, beside)
        for name, (took_us, _) in (("an object", batch), ("a list of objects", listed)):
            rate = TAGS * 1e6 / took_us
            yield Figure(f"JSON at QoS 1, samples a core-second, {name}", rate, RATE_BAR, 1.0, quick=quick)


def _medians(load: Load) -> tuple[float, ...]:
    return medians(partial(ours, load), partial(plain, load))


def _figure(
    name: str, took_us: Sequence[float], bar: float, quick: bool, beside: Mapping[str, float] | None = None
) -> Figure:
    told = f"JSON at QoS 1, CPU µs a message, {name}"
    return Figure(told, *took_us, bar, True, quick, beside=beside or {})


def plain(load: Load) -> float:
    """Microseconds of processor time a message of a callback that parses."""
    with broker() as port:
        return _heard_s(load, port) / load.messages * 1e6


def _heard_s(load: Load, port: int) -> float:
    heard, done = 0, threading.Event()
    subscribed = threading.Event()
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, "plain")

    def hear(_client: paho.Client, _userdata: object, message: paho.MQTTMessage) -> None:
        nonlocal heard
        load.parse(message.payload)
        heard += 1
        if heard == load.messages:
            done.set()

    client.on_message = hear
    client.on_subscribe = lambda *_: subscribed.set()
    client.on_connect = lambda *_: client.subscribe("bench/#", 1)
    client.connect("127.0.0.1", port)
    client.loop_start()
    if not subscribed.wait(_LONGEST_S):
        raise TimeoutError("the plain client was not let in")
    start_s = time.process_time()
    with publishing(load, port):
        if not done.wait(_LONGEST_S):
            raise TimeoutError(f"{heard} of {load.messages} messages came to the plain callback")
        took_s = time.process_time() - start_s
    client.disconnect()
    client.loop_stop()
    return took_s


def ours(load: Load) -> float:
    """The same until every sample is on disk and every message acknowledged."""
    folder = Path(tempfile.mkdtemp(prefix="mqtt-", dir=prepared.BUILD))
    try:
        mapping = SourceMapping(
            "bench", "mqtt", False, tuple(TagMapping(f"own.{n}", n, "Cel") for n in _NAMES)
        )
        with broker() as port, closing(EmbeddedStore.open(folder)) as store:
            took_s, values = asyncio.run(_collected(load, port, mapping, store))
            found = store.read([t.path for t in mapping.tags], 0, 2**62)
            _check(values, [np.asarray(s.value) for s in found.values()])
    finally:
        shutil.rmtree(folder)
    return took_s / load.messages * 1e6


async def _collected(
    load: Load, port: int, mapping: SourceMapping, store: EmbeddedStore
) -> tuple[float, list[list[float]]]:
    tags = store.register(tags_of([mapping]))
    inbox = Inbox([mapping], tags)
    writer = Writer(store, inbox, _NoJudge(), WallClock(), lambda _event: None)
    source = MqttJsonSource(
        mapping,
        tags,
        Broker("127.0.0.1", port, "ours", version=_VERSION, window=_WINDOW),
        [_SHAPES[load.form]],
    )
    roster = Roster(inbox, WallClock())
    roster.start(source)
    task = asyncio.create_task(collect(roster, writer))
    try:
        await _until(lambda: source.status.state == "connected", "our source was not let in")
        start_s = time.process_time()
        with publishing(load, port) as what:
            await _until(
                lambda: source.counts.received >= load.samples and source.counts.waiting == 0,
                f"not all of {load.samples} samples came to ours",
            )
            took_s = time.process_time() - start_s
        return took_s, what.values()
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def _until(true: Callable[[], bool], why: str) -> None:
    end_s = time.monotonic() + _LONGEST_S
    while not true():
        if time.monotonic() > end_s:
            raise TimeoutError(why)
        await asyncio.sleep(0.05)


def _check(sent: list[list[float]], kept: list[np.ndarray]) -> None:
    """Refuse to time a way that does not keep every sample once, in its order."""
    if len(sent[0]) == 1:
        given = [np.array([values[0] for values in sent[n::TAGS]]) for n in range(TAGS)]
    else:
        given = list(np.array(sent).T)
    same_rows(np.concatenate(kept), np.concatenate(given), "the store")


class _NoJudge:
    """Judges nothing: only bringing samples to the disk is measured."""

    def feed(self, seq: int, frame: Frame) -> None:
        """Nothing."""

    def advance(self, now_ns: int) -> None:
        """Nothing."""


@contextmanager
def publishing(load: Load, port: int) -> Iterator[Published]:
    """A publisher that runs while the block does."""
    what = Published(port, load.form, _NAMES, load.messages, load.rate_hz, seed=1)
    process = what.start()
    try:
        yield what
        process.communicate(timeout=_LONGEST_S)
    finally:
        process.kill()
        process.wait()
        if process.stdout is not None:
            process.stdout.close()


@contextmanager
def broker() -> Iterator[int]:
    """A mosquitto on a free port, which it gives."""
    where = os.pathsep.join([os.environ.get("PATH", os.defpath), "/usr/sbin", "/usr/local/sbin"])
    program = shutil.which("mosquitto", path=where)
    if program is None:
        print("no mosquitto here (Debian: apt install mosquitto)", file=sys.stderr)
        raise FileNotFoundError("mosquitto")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    folder = Path(tempfile.mkdtemp(prefix="mosquitto-", dir=prepared.BUILD))
    settings = [f"listener {port} 127.0.0.1", "allow_anonymous true", "max_queued_messages 0"]
    settings += [f"max_inflight_messages {_WINDOW}", "log_type error"]
    (folder / "mosquitto.conf").write_text("\n".join(settings) + "\n", encoding="utf-8")
    process = subprocess.Popen([program, "-c", str(folder / "mosquitto.conf")])
    try:
        _wait_for(port)
        yield port
    finally:
        process.terminate()
        process.wait()
        shutil.rmtree(folder)


def _wait_for(port: int) -> None:
    for _ in range(500):
        with socket.socket() as tried:
            if tried.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.02)
    raise TimeoutError("mosquitto does not listen")
