"""A whole line whose samples are kept on a real InfluxDB server that is killed, asks for rest and comes back."""

from __future__ import annotations

import asyncio
import csv
import time
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from uuid import uuid4

import pyarrow.parquet as pq
import pytest
import structlog

from dashboard.app import create_app
from historian.frame import NS, Series
from historian.influx.waiting import Waiting
from meltledger.cli import main
from meltledger.config import LineConfig, load
from meltledger.stores import open_store
from meltledger.verbs.serve import _reads
from meltledger.wiring import run_line
from tests.historian.influx.line import QUICK
from tests.meltledger.test_cli import exit_code
from tests.meltledger.test_exchange_verbs import DATA, END, START
from tests.support.influx import DATABASE, Influxd, WritePath
from tests.support.served_line import Elsewhere, served_elsewhere
from tests.support.small_line import PRESSURE, TAGS, SmallLine

pytestmark = pytest.mark.influx

_FILE = """\
[line]
name = "pilot-{name}"
zone = "Europe/Madrid"

[store]
kind = "influxdb"
path = "data"
url = "{url}"
database = "{database}"

[[source]]
name = "small-line"
kind = "opcua"
endpoint = "{endpoint}"
simulated = true

[source.tags]
"""


@pytest.fixture(scope="module")
def influxd(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Influxd]:
    with Influxd(tmp_path_factory.mktemp("influxd")) as server:
        yield server


@pytest.fixture
def proxy(influxd: Influxd) -> Iterator[WritePath]:
    with WritePath(influxd.port) as found:
        yield found


@pytest.fixture(scope="module")
def machines(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Elsewhere, Path]]:
    """A simulated line, and the file of what it published."""
    ledger = tmp_path_factory.mktemp("machines") / "ledger.csv"
    with served_elsewhere(SmallLine(t0_ns=None), ledger=ledger) as line:
        yield line, ledger


@pytest.fixture(autouse=True)
def quiet() -> Iterator[None]:
    """No log lines among the tests' own."""
    with structlog.testing.capture_logs():
        yield


def line_file(folder: Path, proxy: WritePath, endpoint: str, *, simulated: bool = True) -> LineConfig:
    text = _FILE.format(name=uuid4().hex[:8], url=proxy.url, database=DATABASE, endpoint=endpoint)
    text = text.replace("simulated = true", f"simulated = {simulated}".lower())
    for tag in TAGS:
        node = f"nsu=urn:meltledger:simulated-line;s={tag.path}"
        text += f'"{tag.path}" = {{ node = "{node}", unit = "{tag.unit}" }}\n'
    path = folder / "line.toml"
    path.write_text(text, encoding="utf-8")
    return load(path)


@asynccontextmanager
async def running(config: LineConfig) -> AsyncIterator[None]:
    """The line runs until the end of the block."""
    stop = asyncio.Event()
    task = asyncio.create_task(run_line(config, stop))
    try:
        yield
    finally:
        stop.set()
        await task


async def until(condition: Callable[[], bool], seconds: float = 30.0) -> None:
    end = time.monotonic() + seconds
    while not await asyncio.to_thread(condition):
        assert time.monotonic() < end, "it does not come to that"
        await asyncio.sleep(0.1)


def waiting(config: LineConfig) -> int:
    """How many frames wait on disk."""
    room = Waiting.open(config.folder / "waiting.db", config.facts.name)
    try:
        return room.length()[0]
    finally:
        room.close()


def stored(config: LineConfig) -> tuple[dict[str, Series], list[int]]:
    """Every sample of the machines and every frame's number, as a reader finds them on the server."""
    store = open_store(config, mode="read")
    try:
        paths = [tag.path for tag in TAGS if tag.path in store.tags()]
        return store.read(paths, 0, 2**62), [number for number, _ in store.frames()]
    finally:
        store.close()


def count(config: LineConfig) -> int:
    return len(stored(config)[0].get(PRESSURE, ()))


def published(ledger: Path, first_ns: int, last_ns: int) -> dict[str, set[int]]:
    """Source times of what the machines published in a window, by path."""
    found: dict[str, set[int]] = {}
    with ledger.open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row["changed"] is not None and first_ns <= int(row["time_ns"]) < last_ns:
                found.setdefault(row["path"], set()).add(int(row["time_ns"]))
    return found


def nothing_lost_or_doubled(config: LineConfig, ledger: Path, last_ns: int) -> None:
    samples, numbers = stored(config)
    assert numbers == list(range(1, len(numbers) + 1))
    for series in samples.values():
        assert len(set(series.time_ns.tolist())) == len(series)
    first_ns = int(samples[PRESSURE].time_ns[0])
    due = published(ledger, first_ns, last_ns)[PRESSURE]
    assert len(due) > 5
    assert due - set(samples[PRESSURE].time_ns.tolist()) == set()


async def test_a_line_keeps_on_while_its_server_is_killed_asks_for_rest_and_comes_back(
    influxd: Influxd,
    proxy: WritePath,
    machines: tuple[Elsewhere, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("historian.influx.store.Pace", lambda: QUICK)
    config = line_file(tmp_path, proxy, machines[0].serving.endpoint)
    async with running(config):
        await until(lambda: (config.folder / "waiting.db").exists() and count(config) > 2)
        await asyncio.to_thread(influxd.kill)
        try:
            await until(lambda: waiting(config) > 8)
            proxy.mood.answers.extend([429, 503])
        finally:
            await asyncio.to_thread(influxd.start)
        before = len(proxy.mood.writes)
        await until(lambda: waiting(config) == 0)
        assert proxy.mood.answers == []
        assert len(proxy.mood.writes) > before
        last_ns = time.time_ns() - 2 * NS
    nothing_lost_or_doubled(config, machines[1], last_ns)
    assert not (config.folder / "recent.db").exists()


async def test_a_line_starts_while_its_server_is_away_and_the_journal_is_that_of_the_replay(
    proxy: WritePath, machines: tuple[Elsewhere, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = line_file(tmp_path, proxy, machines[0].serving.endpoint)
    async with running(config):
        await until(lambda: (config.folder / "waiting.db").exists() and count(config) > 1)
    proxy.stop()
    async with running(config):
        await until(lambda: waiting(config) > 8)
        proxy.start()
        await until(lambda: waiting(config) == 0)
    assert stored(config)[1] == list(range(1, len(stored(config)[1]) + 1))
    with pytest.raises(SystemExit) as ended:
        main(["replay", str(config.path), "--compare"])
    said = capsys.readouterr().out
    assert ended.value.code == 0, said
    assert "0 differences" in said


async def test_the_pages_wait_for_the_server_and_say_when_it_is_away(
    proxy: WritePath, machines: tuple[Elsewhere, Path], tmp_path: Path
) -> None:
    config = line_file(tmp_path, proxy, machines[0].serving.endpoint)
    async with running(config):
        await until(lambda: (config.folder / "waiting.db").exists() and count(config) > 2)
        proxy.stop()
        opening = asyncio.create_task(asyncio.to_thread(_reads, config))
        await asyncio.sleep(0.3)
        assert not opening.done(), "the pages wait for the server"
        proxy.start()
        reads = await opening
        client = create_app([reads]).server.test_client()
        await until(lambda: client.get("/healthz").status_code == 200)
        now_ns = time.time_ns()
        assert reads.live(now_ns).flowing
        ledger = reads.timeline(*reads.window(now_ns), 200)
        assert ledger.simulated
        proxy.stop()
        away = client.get("/healthz")
        assert away.status_code == 503
        assert "does not answer" in str(away.json)
        proxy.start()
        await until(lambda: client.get("/healthz").status_code == 200)
        reads.store.close()


def test_a_panels_file_goes_in_once_and_out_again(
    proxy: WritePath, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = line_file(tmp_path, proxy, "opc.tcp://127.0.0.1:4840", simulated=False)
    line, data, mapping = str(config.path), tmp_path / "panel.csv", str(tmp_path / "panel.toml")
    data.write_text(DATA, encoding="utf-8")
    assert exit_code("import", line, str(data), "--guess", mapping) == 0
    assert exit_code("import", line, str(data), "--mapping", mapping, "--dry-run") == 0
    assert "30 would be new" in capsys.readouterr().out
    assert exit_code("import", line, str(data), "--mapping", mapping) == 0
    assert waiting(config) == 0
    numbers = stored(config)[1]
    assert exit_code("import", line, str(data), "--mapping", mapping) == 0
    assert "nothing to change" in capsys.readouterr().out
    assert stored(config)[1] == numbers
    data.write_text(DATA.replace(";103,5;", ";99,9;"), encoding="utf-8")
    assert exit_code("import", line, str(data), "--mapping", mapping) == 0
    assert not (config.folder / "recent.db").exists()
    out = tmp_path / "out.parquet"
    assert exit_code("export", line, str(out), START, END, "--tag", PRESSURE) == 0
    assert pq.read_table(out)["value"].to_pylist() == [99.9 if s == 3 else 100.5 + s for s in range(30)]
    assert not [f for f in config.folder.iterdir() if f.name not in ("waiting.db", "writer.lock")]
