"""An edge node that publishes at a given pace, in a process of its own; its payloads are made before."""

from __future__ import annotations

import json
import random
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final

from paho.mqtt import client as paho

from collector.sparkplug.sparkplug_b_pb2 import Payload

GROUP, NODE, DEVICE = "bench", "node", "device"
TOPIC: Final = f"spBv1.0/{GROUP}/DDATA/{NODE}/{DEVICE}"
_PAUSE_S: Final = 1.5  # a start is another thing than going on
_DOUBLE, _BOOLEAN, _INT64 = 10, 11, 4


@dataclass(frozen=True, slots=True)
class Published:
    """What is published: so many messages of so many metrics to the broker on a port, so many a second."""

    port: int
    metrics: int
    messages: int
    rate_hz: float
    seed: int

    def start(self) -> subprocess.Popen[str]:
        """The publisher's process; it ends when all is sent."""
        return subprocess.Popen(
            [sys.executable, "-m", "benchmarks.sparkplug_publisher", json.dumps(asdict(self))],
            cwd=Path(__file__).resolve().parents[1],
            text=True,
        )

    def values(self) -> list[list[float]]:
        """The values of each message, in its order."""
        chance = random.Random(self.seed)
        return [[chance.uniform(20.0, 300.0) for _ in range(self.metrics)] for _ in range(self.messages)]


def births(metrics: int, now_ms: int) -> list[tuple[str, bytes]]:
    """The births of the node and its device."""
    node = Payload(timestamp=now_ms, seq=0)
    node.metrics.add(name="bdSeq", datatype=_INT64, long_value=0, timestamp=now_ms)
    node.metrics.add(name="Node Control/Rebirth", datatype=_BOOLEAN, boolean_value=False, timestamp=now_ms)
    device = Payload(timestamp=now_ms, seq=1)
    for n in range(metrics):
        device.metrics.add(name=f"m{n}", alias=n + 1, datatype=_DOUBLE, timestamp=now_ms, is_null=True)
    topic = f"spBv1.0/{GROUP}"
    return [
        (f"{topic}/NBIRTH/{NODE}", node.SerializeToString()),
        (f"{topic}/DBIRTH/{NODE}/{DEVICE}", device.SerializeToString()),
    ]


def bodies(what: Published, first_ms: int) -> Iterator[bytes]:
    """The messages."""
    for k, values in enumerate(what.values()):
        time_ms = first_ms + round(k * 1000 / what.rate_hz)
        payload = Payload(timestamp=time_ms, seq=(k + 2) % 256)
        for alias, value in enumerate(values, 1):
            payload.metrics.add(alias=alias, timestamp=time_ms, datatype=_DOUBLE, double_value=value)
        yield payload.SerializeToString()


def publish(what: Published) -> None:
    """Publish all of it at its pace."""
    client = paho.Client(paho.CallbackAPIVersion.VERSION2, "edge-node")
    client.connect("127.0.0.1", what.port)
    client.loop_start()
    first_ms = time.time_ns() // 1_000_000
    made = list(bodies(what, first_ms))
    for topic, body in births(what.metrics, first_ms - 1):
        client.publish(topic, body, 0).wait_for_publish(10.0)
    time.sleep(_PAUSE_S)
    start_s = time.monotonic()
    for number, body in enumerate(made):
        while number / what.rate_hz > time.monotonic() - start_s:
            time.sleep(0.002)
        sent = client.publish(TOPIC, body, 0)
    sent.wait_for_publish(10.0)
    client.disconnect()
    client.loop_stop()


if __name__ == "__main__":
    publish(Published(**json.loads(sys.argv[1])))
