"""A running line takes its file anew: only what changed connects again, and a broken file changes nothing."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from meltledger.config import LineConfig, load
from meltledger.reload import Changes, changes
from meltledger.wiring import run_line
from rules.entry import Entry, EntryKind
from rules.journal import Journal
from tests.support.served_line import Elsewhere, served_elsewhere
from tests.support.small_line import TAGS, SmallLine

_HEAD = """\
[line]
name = "pilot"
zone = "Europe/Madrid"

[store]
path = "data"
"""


def source_text(name: str, endpoint: str, tags: list[str]) -> str:
    lines = [
        f'\n[[source]]\nname = "{name}"\nkind = "opcua"\nendpoint = "{endpoint}"\nsimulated = true\n[source.tags]'
    ]
    units = {t.path: t.unit for t in TAGS}
    for tag in tags:
        node = f"nsu=urn:meltledger:simulated-line;s={tag}"
        lines.append(f'"{tag}" = {{ node = "{node}", unit = "{units[tag]}" }}')
    return "\n".join(lines) + "\n"


def config_of(path: Path, *texts: str) -> LineConfig:
    path.write_text(_HEAD + "".join(texts), encoding="utf-8")
    return load(path)


PATHS = [t.path for t in TAGS]
HALF = len(PATHS) // 2
A = source_text("a", "opc.tcp://x:1", PATHS[:HALF])
B = source_text("b", "opc.tcp://y:1", PATHS[HALF:])


def test_what_changed_is_told_apart(tmp_path: Path) -> None:
    path = tmp_path / "line.toml"
    both, one = config_of(path, A, B), config_of(path, A)
    other = config_of(path, A.replace("x:1", "x:2"), B)
    assert not changes(both, both)
    assert changes(both, one) == Changes(stopped=("b",), judged=True)
    assert changes(one, both) == Changes(started=("b",), judged=True)
    moved = changes(both, other)
    assert moved == Changes(stopped=("a",), started=("a",))
    assert moved.text() == "connected anew: source a"


def test_what_takes_a_restart_is_said(tmp_path: Path) -> None:
    path = tmp_path / "line.toml"
    old = config_of(path, A)
    path.write_text(path.read_text(encoding="utf-8").replace('"data"', '"elsewhere"'), encoding="utf-8")
    found = changes(old, load(path))
    assert found.at_restart == ("store",) and not found.stopped
    assert "[store] changed, which takes effect when `meltledger run` is started again" in found.text()


@pytest.fixture(scope="module")
def line() -> Iterator[Elsewhere]:
    with served_elsewhere(SmallLine(t0_ns=None)) as served:
        yield served


@dataclass
class Running:
    """A line that runs, and its file."""

    path: Path
    again: asyncio.Event

    def events(self) -> list[Entry]:
        file = self.path.parent / "data" / "journal.db"
        if not file.exists():
            return []
        journal = Journal.open(file, "read")
        try:
            return [e for e in journal.entries() if e.kind is EntryKind.EVENT]
        finally:
            journal.close()

    def told(self, kind: str) -> list[Entry]:
        return [e for e in self.events() if e.data.get("kind") == kind]

    async def until(self, true: Callable[[], bool]) -> None:
        async with asyncio.timeout(20.0):
            while not true():  # noqa: ASYNC110  (a journal cannot wake a test)
                await asyncio.sleep(0.05)


@asynccontextmanager
async def running(config: LineConfig) -> AsyncIterator[Running]:
    stop, again = asyncio.Event(), asyncio.Event()
    task = asyncio.create_task(run_line(config, stop, again=again))
    try:
        yield Running(config.path, again)
    finally:
        stop.set()
        await task


async def test_only_what_changed_connects_again(line: Elsewhere, tmp_path: Path) -> None:
    path, endpoint = tmp_path / "line.toml", line.serving.endpoint
    b = source_text("b", endpoint, PATHS[HALF:])
    config = config_of(path, source_text("a", endpoint, PATHS[:HALF]), b)
    async with running(config) as run:
        await run.until(lambda: len(run.told("source-connected")) == 2)
        config_of(path, source_text("a", endpoint, PATHS[: HALF - 1]), b)
        run.again.set()
        await run.until(lambda: bool(run.told("line-file-read")))
        await run.until(lambda: len(run.told("source-connected")) == 3)
        assert [e.by for e in run.told("source-connected")].count("b") == 1
        (said,) = run.told("line-file-read")
        assert "connected anew: source a" in said.data["text"]

        config_of(path, b)
        run.again.set()
        await run.until(lambda: len(run.told("line-file-read")) == 2)
        assert "taken out: source a" in run.told("line-file-read")[-1].data["text"]


async def test_a_broken_file_changes_nothing_and_is_said(line: Elsewhere, tmp_path: Path) -> None:
    path = tmp_path / "line.toml"
    config = config_of(path, source_text("a", line.serving.endpoint, PATHS[:HALF]))
    async with running(config) as run:
        await run.until(lambda: len(run.told("source-connected")) == 1)
        path.write_text(path.read_text(encoding="utf-8").replace("endpoint", "endpont"), encoding="utf-8")
        run.again.set()
        await run.until(lambda: bool(run.told("line-file-refused")))
        (said,) = run.told("line-file-refused")
        assert "runs on as before" in said.data["text"] and "endpont" in said.data["text"]
        assert len(run.told("source-connected")) == 1 and not run.told("source-lost")
