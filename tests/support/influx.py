"""A real influxd 1.6 on 127.0.0.1 and, before it, a thin proxy that gives it the write path of version 2.

Debian's influxd has ``/write`` and no ``/api/v2/write``. The proxy rewrites that path and its parameters; bodies
and answers pass unchanged. It can also misbehave: answer 429 or 503, lose answers, or not be there.
"""

from __future__ import annotations

import gzip
import http.client
import os
import shutil
import subprocess
import threading
import time
import urllib.parse
import urllib.request
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, Self

from tests.support.ports import free_port

DATABASE = "lines"

_SETTINGS = """
reporting-disabled = true
bind-address = "127.0.0.1:{rpc}"
[meta]
  dir = "{folder}/meta"
[data]
  dir = "{folder}/data"
  wal-dir = "{folder}/wal"
  query-log-enabled = false
[monitor]
  store-enabled = false
[http]
  bind-address = "127.0.0.1:{port}"
  log-enabled = false
  max-body-size = 25000000
[logging]
  level = "warn"
"""


class Influxd:
    """The server itself; its data stay in its folder over stop and start.

    Attributes:
        port: where it listens; the same after each start.
    """

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        folder.mkdir(parents=True, exist_ok=True)
        self._folder = folder
        self._process: subprocess.Popen[bytes] | None = None
        text = _SETTINGS.format(folder=folder, port=self.port, rpc=free_port())
        (folder / "influxdb.conf").write_text(text, encoding="utf-8")

    def start(self) -> None:
        """Start it and wait until it answers."""
        path = os.pathsep.join([os.environ.get("PATH", os.defpath), "/usr/sbin", "/usr/local/sbin"])
        program = shutil.which("influxd", path=path)
        assert program is not None
        with (self._folder / "log").open("ab") as log:
            self._process = subprocess.Popen(
                [program, "run", "-config", str(self._folder / "influxdb.conf")], stdout=log, stderr=log
            )
        for _ in range(600):
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{self.port}/ping", timeout=2).close()
                break
            except OSError:
                assert self._process.poll() is None, (self._folder / "log").read_text(encoding="utf-8")
                time.sleep(0.05)
        else:
            self.stop()
            raise AssertionError("influxd does not answer")
        self.ask(f'CREATE DATABASE "{DATABASE}"')

    def ask(self, question: str, **parameters: str) -> bytes:
        """The plain answer to an InfluxQL question, past the proxy and our code."""
        body = urllib.parse.urlencode({"q": question, "epoch": "ns", "db": DATABASE, **parameters}).encode()
        with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/query", body, timeout=20) as answer:
            found: bytes = answer.read()
        return found

    def kill(self) -> None:
        """End it at once, as a power cut of its host does to it."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(30.0)
            self._process = None

    def stop(self) -> None:
        """End it in order."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(30.0)
            self._process = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()


@dataclass
class Mood:
    """What the proxy does with writes.

    Attributes:
        answers: status codes to give instead of passing on, one a write, first to last.
        lost: how many of the next writes reach the server while their answer gets lost.
        broken_off: how many of the next answers to questions lack their end.
        retry_after: value of that header on answers of our own; none when empty.
        delay_s: how long a write takes on its way.
        largest: bytes of plain body above which a write is answered 413.
        writes: the plain bodies that the server was given, in order.
        packed: whether each of them came with gzip.
    """

    answers: list[int] = field(default_factory=list)
    lost: int = 0
    broken_off: int = 0
    retry_after: str = ""
    delay_s: float = 0.0
    largest: int = 2**62
    writes: list[str] = field(default_factory=list)
    packed: list[bool] = field(default_factory=list)


class WritePath:
    """The proxy, on a port of its own that stays the same.

    Attributes:
        mood: what it does with writes; a test changes it.
    """

    def __init__(self, target_port: int) -> None:
        self.mood = Mood()
        self.port = free_port()
        self._target_port = target_port
        self._server: ThreadingHTTPServer | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Listen."""
        proxy = self

        class Handler(_Handler):
            mood = proxy.mood
            target_port = proxy._target_port

        self._server = _Quiet(("127.0.0.1", self.port), Handler)
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()

    def stop(self) -> None:
        """Be gone: connections are refused."""
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()


class _Quiet(ThreadingHTTPServer):
    daemon_threads = True
    allow_reuse_address = True

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A client that went away is nothing to print."""


class _Handler(BaseHTTPRequestHandler):
    """Every answer closes its connection, so that a stopped proxy is gone at once."""

    mood: Mood
    target_port: int

    def do_GET(self) -> None:
        status, body, headers = self._pass_on("GET", self.path, b"")
        if self.mood.broken_off:
            self.mood.broken_off -= 1
            self._give(status, body, headers, length=len(body) + 1)
            return
        self._give(status, body, headers)

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
        parts = urllib.parse.urlsplit(self.path)
        if parts.path != "/api/v2/write":
            self._give(*self._pass_on("POST", self.path, body))
            return
        given = dict(urllib.parse.parse_qsl(parts.query))
        packed = self.headers.get("Content-Encoding") == "gzip"
        plain = gzip.decompress(body) if packed else body
        if len(plain) > self.mood.largest:
            self._give(413, b'{"code":"request too large","message":"too large"}', {})
            return
        if self.mood.answers:
            extra = {"Retry-After": self.mood.retry_after} if self.mood.retry_after else {}
            self._give(self.mood.answers.pop(0), b'{"code":"unavailable","message":"come back"}', extra)
            return
        time.sleep(self.mood.delay_s)
        self.mood.writes.append(plain.decode())
        self.mood.packed.append(packed)
        path = "/write?" + urllib.parse.urlencode({"db": given["bucket"], "precision": "n"})
        assert given["precision"] == "ns"
        answer = self._pass_on("POST", path, body)
        if self.mood.lost:
            self.mood.lost -= 1
            self.connection.close()
            return
        self._give(*answer)

    def _pass_on(self, method: str, path: str, body: bytes) -> tuple[int, bytes, dict[str, str]]:
        connection = http.client.HTTPConnection("127.0.0.1", self.target_port, timeout=30)
        try:
            kept = {k: v for k, v in self.headers.items() if k.lower() not in ("host", "connection")}
            connection.request(method, path, body or None, kept)
            answer = connection.getresponse()
            content = answer.read()
        except OSError:
            return 503, b'{"code":"unavailable","message":"no server behind the proxy"}', {}
        finally:
            connection.close()
        names = ("Content-Type", "Content-Encoding", "X-Influxdb-Error", "Retry-After")
        return answer.status, content, {n: v for n in names if (v := answer.getheader(n))}

    def _give(self, status: int, body: bytes, headers: dict[str, str], *, length: int | None = None) -> None:
        self.send_response(status)
        for name, value in headers.items():
            self.send_header(name, value)
        if status != 204:
            self.send_header("Content-Length", str(len(body) if length is None else length))
        self.end_headers()
        if status != 204:
            self.wfile.write(body)

    def log_message(self, format: str, *args: Any) -> None:
        """Nothing on the screen."""
