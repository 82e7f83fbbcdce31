"""A machine that publishes JSON over MQTT, in a process of its own, and writes down what it published.

Run as a program it publishes; imported it gives ``JsonPublisher``, which starts and ends that program.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any


@dataclass
class JsonPublisher:
    """Starts and ends a publisher of counters.

    Attributes:
        folder: where it writes its record.
        port: of the broker on 127.0.0.1.
        names: of the counters; each is published as ``PREFIX/NAME`` with ``{"t": ns, "v": count}``.
        rate_hz: of each counter.
    """

    folder: Path
    port: int
    names: list[str]
    prefix: str = "plant"
    rate_hz: float = 5.0
    _process: subprocess.Popen[str] | None = field(default=None, repr=False)

    @property
    def log(self) -> Path:
        """One JSON line a sample published: name, source time, value."""
        return self.folder / "published.jsonl"

    def start(self) -> None:
        """Start, and come back when it is connected."""
        options = {
            "port": self.port,
            "names": self.names,
            "prefix": self.prefix,
            "rate_hz": self.rate_hz,
            "log": str(self.log),
        }
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.support.json_publisher", json.dumps(options)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parents[2],
        )
        assert self._process.stdout is not None
        assert self._process.stdout.readline().strip() == "ready"

    def stop(self) -> None:
        """Publish nothing more, and come back when the broker has all of it."""
        if self._process is None:
            return
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.close()
        assert self._process.stdout.readline().strip() == "done"
        self._process.stdout.close()
        self._process.wait(20.0)
        self._process = None

    def published(self) -> list[tuple[str, int, float]]:
        """What it has published so far: name, source time in nanoseconds, value."""
        rows = [json.loads(line) for line in self.log.read_text(encoding="utf-8").splitlines()]
        return [(name, time_ns, value) for name, time_ns, value in rows]

    def end(self) -> None:
        """kill -9, if it still runs."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            for end in (self._process.stdin, self._process.stdout):
                if end is not None:
                    end.close()
            self._process = None


def _publish(options: dict[str, Any]) -> None:
    import threading

    from paho.mqtt.client import Client
    from paho.mqtt.enums import CallbackAPIVersion

    client = Client(CallbackAPIVersion.VERSION2, f"machine-{options['prefix']}", clean_session=False)
    client.max_queued_messages_set(0)
    client.reconnect_delay_set(1, 2)
    connected = threading.Event()
    there: list[int] = []
    client.on_publish = lambda _c, _u, mid, *_: there.append(mid)
    client.on_connect = lambda *_: connected.set()
    client.connect("127.0.0.1", options["port"])
    client.loop_start()
    assert connected.wait(20.0)
    ended = threading.Event()
    threading.Thread(target=lambda: (sys.stdin.read(), ended.set()), daemon=True).start()
    print("ready", flush=True)
    count, sent, due = 0.0, 0, time.monotonic()
    with open(options["log"], "a", buffering=1, encoding="utf-8") as log:
        while not ended.is_set():
            count += 1.0
            for name in options["names"]:
                time_ns = time.time_ns() // 1000 * 1000
                log.write(json.dumps([name, time_ns, count]) + "\n")
                body = json.dumps({"t": time_ns, "v": count})
                # Without a connection it is queued, and sent when there is one again.
                client.publish(f"{options['prefix']}/{name}", body, qos=1)
                sent += 1
            due += 1 / options["rate_hz"]
            time.sleep(max(0.0, due - time.monotonic()))
    while len(there) < sent:
        time.sleep(0.05)
    print("done", flush=True)
    client.disconnect()
    client.loop_stop()


if __name__ == "__main__":
    _publish(json.loads(sys.argv[1]))
