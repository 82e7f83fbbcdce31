"""InfluxDB 1.6 (Debian's influxd) with the same data, asked over HTTP in its own language."""

from __future__ import annotations

import json
import math
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.parse
import urllib.request
from collections.abc import Iterator
from typing import Any, Self

from benchmarks.prepared import Prepared, all_hours
from benchmarks.reference_set import Group, tags

_DATABASE = "bench"
_LINES = 20_000
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
[logging]
  level = "warn"
"""


def influx_of(data: Prepared) -> InfluxBeside | None:
    """The server with the data, not started yet; None where there is no influxd, or on small data."""
    where = os.pathsep.join([os.environ.get("PATH", os.defpath), "/usr/sbin"])
    program = shutil.which("influxd", path=where)
    if data.quick:
        return None
    if program is None:
        print("no influxd here: its figures are left out (Debian: apt install influxdb)", file=sys.stderr)
        return None
    return InfluxBeside(program, data)


class InfluxBeside:
    """The server while it runs; filled at the first start."""

    def __init__(self, program: str, data: Prepared) -> None:
        self._program = program
        self._data = data
        self._folder = data.store.parent / "influx"
        self._port = _free_port()
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        self._folder.mkdir(parents=True, exist_ok=True)
        text = _SETTINGS.format(folder=self._folder, port=self._port, rpc=_free_port())
        (self._folder / "influxdb.conf").write_text(text, encoding="utf-8")
        with (self._folder / "log").open("ab") as log:
            self._process = subprocess.Popen(
                [self._program, "run", "-config", str(self._folder / "influxdb.conf")], stdout=log, stderr=log
            )
        self._wait()
        if not (self._folder / "filled").exists():
            print(f"loading InfluxDB with {self._data.hours} h of 200 tags", file=sys.stderr, flush=True)
            self._ask(f'CREATE DATABASE "{_DATABASE}"')
            for _, groups in all_hours(self._data.hours):
                for group in groups:
                    self._load(group)
            (self._folder / "filled").write_text("", encoding="utf-8")
        return self

    def __exit__(self, *_: object) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.wait(60)

    def minimum_and_maximum(self, path: str, start_ns: int, end_ns: int, buckets: int) -> int:
        """Smallest and largest of each bucket; gives how many buckets came."""
        width = (end_ns - start_ns) // buckets
        found = self._ask(
            f"SELECT min(value), max(value) FROM sample WHERE \"path\"='{path}' AND time >= {start_ns} "
            f"AND time < {end_ns} GROUP BY time({width}ns)"
        )
        return len(found[0]["values"])

    def raw(self, paths: list[str], start_ns: int, end_ns: int) -> int:
        """The samples of some tags; gives how many came."""
        one_of = "|".join(p.replace(".", r"\.") for p in paths)
        found = self._ask(
            f'SELECT value, quality FROM sample WHERE "path" =~ /^({one_of})$/ AND time >= {start_ns} '
            f'AND time < {end_ns} GROUP BY "path"'
        )
        return sum(len(series["values"]) for series in found)

    def newest(self) -> int:
        """The last sample of each tag; gives how many tags came."""
        return len(self._ask('SELECT last(quality), value FROM sample GROUP BY "path"'))

    def minutes(self, start_ns: int, end_ns: int) -> int:
        """Mean, smallest and largest value of every tag and minute; gives how many rows came."""
        found = self._ask(
            f"SELECT mean(value), min(value), max(value) FROM sample WHERE time >= {start_ns} "
            f'AND time < {end_ns} GROUP BY time(1m), "path" fill(none)'
        )
        return sum(len(series["values"]) for series in found)

    def _ask(self, question: str) -> list[dict[str, Any]]:
        body = urllib.parse.urlencode({"q": question, "epoch": "ns", "db": _DATABASE}).encode()
        with urllib.request.urlopen(f"http://127.0.0.1:{self._port}/query", body, timeout=300) as answer:
            (result,) = json.loads(answer.read())["results"]
        if "error" in result:
            raise RuntimeError(f"InfluxDB refused {question}: {result['error']}")
        found: list[dict[str, Any]] = result.get("series", [])
        return found

    def _load(self, group: Group) -> None:
        address = f"http://127.0.0.1:{self._port}/write?db={_DATABASE}&precision=ns"
        lines = list(_lines(group))
        for at in range(0, len(lines), _LINES):
            body = "\n".join(lines[at : at + _LINES]).encode()
            with urllib.request.urlopen(address, body, timeout=120) as answer:
                answer.read()

    def _wait(self) -> None:
        for _ in range(1_200):
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{self._port}/ping", timeout=2).close()
                return
            except OSError:
                time.sleep(0.1)
        raise RuntimeError(f"influxd does not answer; see {self._folder / 'log'}")


def _lines(group: Group) -> Iterator[str]:
    """Line protocol: NaN cannot be a field there, so a bad sample is its quality alone."""
    paths = {t.id: t.path for t in tags()}
    stamps = group.time_ns.tolist()
    for column, number in enumerate(group.tags.tolist()):
        head = f"sample,path={paths[number]} "
        values, qualities = group.value[:, column].tolist(), group.quality[:, column].tolist()
        for value, quality, stamp in zip(values, qualities, stamps, strict=True):
            held = "" if math.isnan(value) else f"value={value!r},"
            yield f"{head}{held}quality={quality}i {stamp}"


def _free_port() -> int:
    with socket.socket() as tried:
        tried.bind(("127.0.0.1", 0))
        return int(tried.getsockname()[1])
