"""``meltledger run`` on a line's file of a test's own, in a process that can be killed, and what it left on disk."""

from __future__ import annotations

import asyncio
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from historian.embedded.store import EmbeddedStore
from historian.errors import StoreReadOnly, WrongInput
from historian.frame import Series
from historian.quality import HELD, is_good
from rules.entry import Entry, EntryKind
from rules.journal import Journal

_HEAD = '[line]\nname = "pilot"\nzone = "UTC"\n\n[store]\npath = "data"\n'


@dataclass
class CollectedLine:
    """A line's file, the process that collects it, its store and its journal.

    Attributes:
        folder: where all of it is.
        sources: the file's sections of sources; empty where the file is there already.
        environment: variables of the process.
    """

    folder: Path
    sources: str
    environment: dict[str, str] = field(default_factory=dict)
    process: subprocess.Popen[bytes] | None = None

    def __post_init__(self) -> None:
        self.folder.mkdir(exist_ok=True)
        if self.sources:
            self.file.write_text(_HEAD + self.sources, encoding="utf-8")

    @property
    def file(self) -> Path:
        return self.folder / "line.toml"

    @property
    def log(self) -> Path:
        return self.folder / "run.log"

    def start(self) -> None:
        """Start to collect."""
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "meltledger", "run", str(self.file)],
                stdout=log,
                stderr=log,
                env={**os.environ, **self.environment},
            )

    def end(self, number: signal.Signals = signal.SIGTERM) -> None:
        """Ask it to leave, or kill it."""
        assert self.process is not None
        assert self.process.poll() is None, self.said()
        self.process.send_signal(number)
        assert self.process.wait(60.0) == (0 if number is signal.SIGTERM else -number), self.said()
        self.process = None

    def clear_up(self) -> None:
        """However the test went."""
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None

    def verb(self, *words: str) -> str:
        """What another verb prints, called while the line runs or not."""
        done = subprocess.run(
            [sys.executable, "-m", "meltledger", *words],
            capture_output=True,
            text=True,
            timeout=60.0,
            check=False,
            env={**os.environ, **self.environment},
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def said(self) -> str:
        """The end of the program's own log."""
        return self.log.read_text(encoding="utf-8", errors="replace")[-4000:]

    def stored(self) -> dict[str, Series]:
        """Every series of the machines, marks included."""
        try:
            store = EmbeddedStore.open(self.folder / "data", mode="read")
        except WrongInput:  # not there yet
            return {}
        try:
            paths = [path for path, tag in store.tags().items() if tag.source != "edge"]
            return store.read(paths, 0, 2**62)
        finally:
            store.close()

    def samples(self, path: str) -> int:
        """How many good samples of a tag are stored."""
        series = self.stored().get(path, Series.empty())
        return int((is_good(series.quality) & (series.quality != HELD)).sum())

    def entries(self, kind: EntryKind = EntryKind.EVENT) -> list[Entry]:
        """The journal's entries of a kind."""
        try:
            journal = Journal.open(self.folder / "data" / "journal.db", mode="read")
        except (StoreReadOnly, WrongInput):  # not there yet
            return []
        try:
            return [e for e in journal.entries() if e.kind is kind]
        finally:
            journal.close()

    def told(self, kind: str) -> list[Entry]:
        """The events of a kind."""
        return [e for e in self.entries() if e.data["kind"] == kind]

    async def until(self, true: Callable[[], bool], what: str, seconds: float = 60.0) -> None:
        """Wait until something is true of what is on disk."""
        try:
            async with asyncio.timeout(seconds):
                while not await asyncio.to_thread(true):
                    assert self.process is None or self.process.poll() is None, self.said()
                    await asyncio.sleep(0.1)
        except TimeoutError:
            raise AssertionError(f"after {seconds} s still not: {what}\n{self.said()}") from None
