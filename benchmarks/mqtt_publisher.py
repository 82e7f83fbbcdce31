"""A machine that publishes JSON at QoS 1, in a process of its own, at a pace of its own.

It speaks MQTT 3.1.1 itself, because a library's publisher would be the bottleneck of what is measured.
"""

from __future__ import annotations

import json
import os
import random
import select
import socket
import struct
import subprocess
import sys
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final, Literal

Form = Literal["one", "object", "list"]

_WINDOW: Final = 1_000  # messages that are not acknowledged yet
_STEP_S: Final = 0.01


@dataclass(frozen=True, slots=True)
class Published:
    """What is to be published.

    Attributes:
        port: of the broker on 127.0.0.1.
        form: one tag a message, in the topic ``bench/TAG``; or all tags in one message to ``bench``, as an
            object of values or as a list of objects.
        names: of the tags.
        messages: how many.
        rate_hz: messages a second.
        seed: of the values.
    """

    port: int
    form: Form
    names: tuple[str, ...]
    messages: int
    rate_hz: float
    seed: int

    def start(self) -> subprocess.Popen[str]:
        """The publisher's process; it prints how many the broker has taken and ends."""
        return subprocess.Popen(
            [sys.executable, "-m", "benchmarks.mqtt_publisher", json.dumps(asdict(self))],
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).resolve().parents[1],
        )

    def values(self) -> list[list[float]]:
        """The values of each message, in its order."""
        chance = random.Random(self.seed)
        each = 1 if self.form == "one" else len(self.names)
        return [[chance.uniform(20.0, 300.0) for _ in range(each)] for _ in range(self.messages)]


def topic_and_body(what: Published, number: int, values: list[float], time_ms: int) -> tuple[str, str]:
    """One message."""
    if what.form == "one":
        name = what.names[number % len(what.names)]
        return f"bench/{name}", f'{{"t":{time_ms},"v":{values[0]}}}'
    if what.form == "object":
        pairs = ",".join(f'"{n}":{v}' for n, v in zip(what.names, values, strict=True))
        return "bench", f'{{"t":{time_ms},"values":{{{pairs}}}}}'
    items = ",".join(
        f'{{"name":"{n}","v":{v},"t":{time_ms}}}' for n, v in zip(what.names, values, strict=True)
    )
    return "bench", f"[{items}]"


def packet(topic: str, body: str, mid: int) -> bytes:
    """A PUBLISH of QoS 1. Source: MQTT 3.1.1, 3.3."""
    name = topic.encode()
    rest = struct.pack("!H", len(name)) + name + struct.pack("!H", mid) + body.encode()
    length, left = bytearray(), len(rest)
    while True:
        left, digit = divmod(left, 128)
        length.append(digit | (0x80 if left else 0))
        if not left:
            return b"\x32" + bytes(length) + rest


class _Line:
    """The connection, with what it has not had acknowledged."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port))
        name = f"publisher-{os.getpid()}".encode()
        rest = b"\x00\x04MQTT\x04\x02\x00\x00" + struct.pack("!H", len(name)) + name
        self._socket.sendall(bytes([0x10, len(rest)]) + rest)
        if self._socket.recv(4)[:1] != b"\x20":
            raise ConnectionError("the broker refuses the publisher")
        self.open = 0
        self._left = b""

    def send(self, data: bytes) -> None:
        self._socket.sendall(data)
        self.open += 1

    def hear(self, wait_s: float) -> None:
        """Take the acknowledgements that are there; each has four bytes."""
        if select.select([self._socket], [], [], wait_s)[0]:
            data = self._left + self._socket.recv(65_536)
            self.open -= len(data) // 4
            self._left = data[len(data) // 4 * 4 :]

    def close(self) -> None:
        self._socket.close()


def publish(what: Published) -> None:
    """Publish all of it and wait until the broker has it."""
    line, start_s, mid = _Line(what.port), time.monotonic(), 0
    last_ms = 0
    for number, values in enumerate(what.values()):
        while (ahead_s := number / what.rate_hz - (time.monotonic() - start_s)) > _STEP_S:
            line.hear(ahead_s)
        while line.open >= _WINDOW:
            line.hear(1.0)
        mid = mid % 65_535 + 1
        # One tag's times differ, however fast it goes.
        last_ms = max(time.time_ns() // 1_000_000, last_ms + (what.form != "one"))
        line.send(packet(*topic_and_body(what, number, values, last_ms), mid))
    while line.open:
        line.hear(1.0)
    line.close()
    print(what.messages, flush=True)


if __name__ == "__main__":
    said = json.loads(sys.argv[1])
    publish(Published(**{**said, "names": tuple(said["names"])}))
