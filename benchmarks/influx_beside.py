"""InfluxDB 1.6 (Debian's influxd) with the same data, asked over HTTP in its own language.

Times include the reading of its JSON, as a program has to. A bad sample is its quality alone: NaN cannot be a
field there. In a figure this stands beside ours; it has no bar.
"""

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
from collections.abc import Iterator, Sequence
from typing import Any, Final, Self

from benchmarks.prepared import Prepared, all_hours, data_digest, made, remade, size_of
from benchmarks.reference_set import LONG_TAG, frames, long_day, tags
from historian.frame import Frame
from historian.tags import Tag

INFLUX: Final = "InfluxDB 1.6"
DAY: Final = "day"
LONG: Final = "long"
"""Databases: the set of 200 tags, and the single tag's, which the quick form has not."""

_LINES: Final = 20_000
_SETTLED_S: Final = 5
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
    """The server with the data, not started yet; None where there is no influxd, which is said."""
    where = os.pathsep.join([os.environ.get("PATH", os.defpath), "/usr/sbin", "/usr/local/sbin"])
    program = shutil.which("influxd", path=where)
    if program is None:
        print("no influxd here: its figures are left out (Debian: apt install influxdb)", file=sys.stderr)
        return None
    return InfluxBeside(program, data)


class InfluxBeside:
    """The server while it runs; filled at the first start."""

    def __init__(self, program: str, data: Prepared) -> None:
        self._program = program
        self._data = data
        self._folder = data.plain.parent.parent / "influx"
        self._port = _free_port()
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        empty = remade(self._folder, data_digest())
        settings = self._folder / "influxdb.conf"
        text = _SETTINGS.format(folder=self._folder, port=self._port, rpc=_free_port())
        settings.write_text(text, encoding="utf-8")
        with (self._folder / "log").open("ab") as log:
            command = [self._program, "run", "-config", str(settings)]
            self._process = subprocess.Popen(command, stdout=log, stderr=log)
        try:
            self._wait()
            if empty:
                self._fill()
                made(self._folder, data_digest())
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.wait(60)

    def size(self, database: str = DAY) -> int:
        """Bytes of a database, without the 4 MiB that each of its eight series files takes from the start."""
        held = size_of(self._folder, f"data/{database}/**/*") + size_of(self._folder, f"wal/{database}/**/*")
        return held - size_of(self._folder, f"data/{database}/_series/**/*")

    def minimum_and_maximum(
        self, path: str, start_ns: int, end_ns: int, buckets: int, database: str = DAY
    ) -> list[tuple[int, float, float]]:
        """Number, smallest and largest value of each bucket of a window; none where all is bad."""
        width = (end_ns - start_ns) // buckets
        found = self._ask(
            f"SELECT min(value), max(value) FROM sample WHERE \"path\"='{path}' AND time >= {start_ns} "
            f"AND time < {end_ns} GROUP BY time({width}ns, {start_ns % width}ns) fill(none)",
            database,
        )
        return [((at - start_ns) // width, low, high) for at, low, high in found[0]["values"]]

    def raw(self, paths: Sequence[str], start_ns: int, end_ns: int) -> list[list[Any]]:
        """Time, value and quality of the samples of some tags."""
        one_of = "|".join(p.replace(".", r"\.") for p in paths)
        found = self._ask(
            f'SELECT value, quality FROM sample WHERE "path" =~ /^({one_of})$/ AND time >= {start_ns} '
            f'AND time < {end_ns} GROUP BY "path"'
        )
        return [row for series in found for row in series["values"]]

    def newest(self) -> list[list[Any]]:
        """Time, quality and value of the last sample of each tag."""
        found = self._ask('SELECT last(quality), value FROM sample GROUP BY "path"')
        return [row for series in found for row in series["values"]]

    def minutes(self, start_ns: int, end_ns: int) -> list[list[Any]]:
        """Minute, mean, smallest and largest value of every tag and minute that has one."""
        found = self._ask(
            f"SELECT mean(value), min(value), max(value) FROM sample WHERE time >= {start_ns} "
            f'AND time < {end_ns} GROUP BY time(1m), "path" fill(none)'
        )
        return [row for series in found for row in series["values"]]

    def _fill(self) -> None:
        data = self._data
        what = f"{data.hours} h of 200 tags" + ("" if data.quick else f" and {data.days} days of one")
        print(f"loading InfluxDB with {what}", file=sys.stderr, flush=True)
        self._ask(f'CREATE DATABASE "{DAY}"')
        for number, groups in all_hours(data.hours):
            self._load(DAY, tags(), frames(groups, number))
        if not data.quick:
            self._ask(f'CREATE DATABASE "{LONG}"')
            self._load(LONG, [LONG_TAG], map(long_day, range(data.days)))
        self._settle()

    def _load(self, database: str, named: list[Tag], sent: Iterator[Frame]) -> None:
        address = f"http://127.0.0.1:{self._port}/write?db={database}&precision=ns"
        lines: list[str] = []
        for frame in sent:
            lines.extend(_lines(frame, {t.id: t.path for t in named}))
            while len(lines) >= _LINES:
                _post(address, lines[:_LINES])
                del lines[:_LINES]
        if lines:
            _post(address, lines)

    def _settle(self) -> None:
        """Wait until the files are no longer rewritten: what runs behind a load is not the answers' cost."""
        held, still = -1, 0
        for _ in range(60):
            now = size_of(self._folder, "data/*/autogen/**/*")
            still = still + 1 if now == held else 0
            if still >= _SETTLED_S:
                return
            held = now
            time.sleep(1)

    def _ask(self, question: str, database: str = DAY) -> list[dict[str, Any]]:
        body = urllib.parse.urlencode({"q": question, "epoch": "ns", "db": database}).encode()
        with urllib.request.urlopen(f"http://127.0.0.1:{self._port}/query", body, timeout=300) as answer:
            (result,) = json.loads(answer.read())["results"]
        if "error" in result:
            raise RuntimeError(f"InfluxDB refused {question}: {result['error']}")
        found: list[dict[str, Any]] = result.get("series", [])
        return found

    def _wait(self) -> None:
        for _ in range(1_200):
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{self._port}/ping", timeout=2).close()
                return
            except OSError:
                time.sleep(0.1)
        raise RuntimeError(f"influxd does not answer; see {self._folder / 'log'}")


def _lines(frame: Frame, paths: dict[int, str]) -> Iterator[str]:
    """Line protocol, a line a sample."""
    columns = (frame.tag, frame.value, frame.quality, frame.time_ns)
    for number, value, quality, stamp in zip(*(c.tolist() for c in columns), strict=True):
        held = "" if math.isnan(value) else f"value={value!r},"
        yield f"sample,path={paths[number]} {held}quality={quality}i {stamp}"


def _post(address: str, lines: list[str]) -> None:
    with urllib.request.urlopen(address, "\n".join(lines).encode(), timeout=120) as answer:
        answer.read()


def _free_port() -> int:
    with socket.socket() as tried:
        tried.bind(("127.0.0.1", 0))
        return int(tried.getsockname()[1])
