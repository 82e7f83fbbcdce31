"""Lives that are started, watched, and killed at a chosen moment."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from queue import Empty, SimpleQueue
from random import Random
from threading import Thread
from typing import IO

from tests.historian.durability.ledger import Ledger
from tests.historian.durability.life import Life

ROOT = Path(__file__).parents[3]
_LONGEST_S = 20.0  # a busy machine takes long to come to a phase, and each is to be hit


@dataclass(slots=True)
class Nursery:
    """A process that imports once and forks a life for every line it is given.

    Attributes:
        hit: how often a life was killed in each phase.
    """

    process: subprocess.Popen[str]
    lines: SimpleQueue[str]
    hit: Counter[str] = field(default_factory=Counter)
    _pid: int = 0

    def start(self, life: Life, ledger: Ledger) -> None:
        """Begin a life and wait until its store is open."""
        _stdin(self.process).write(f"{life.text()}\n")
        _stdin(self.process).flush()
        opened = False
        while not (opened and self._pid):
            line = self.lines.get(timeout=60)
            word, _, rest = line.partition(" ")
            if word == "born":
                self._pid = int(rest)
                continue
            assert word not in ("dead", "failed:", "keeper"), line
            ledger.take(line)
            opened = opened or word == "opened"

    def watch(self, ledger: Ledger, seconds: float, phase: str = "") -> None:
        """Follow a life for a time, or until it enters a phase."""
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0:
            try:
                line = self.lines.get(timeout=left)
            except Empty:
                return
            ledger.take(line)
            if phase and line[0] in ">=" and line.endswith(f" {phase}"):
                return

    def follow(self, ledger: Ledger) -> None:
        """Take in what the life has said so far."""
        while True:
            try:
                ledger.take(self.lines.get_nowait())
            except Empty:
                return

    def kill(self, ledger: Ledger) -> None:
        """End the life without a word; count what it was at."""
        os.kill(self._pid, signal.SIGKILL)
        while (line := self.lines.get(timeout=60)) != "dead":
            ledger.take(line)
        self._pid = 0
        assert not ledger.faults, ledger.faults
        self.hit.update({stack[-1] for stack in ledger.open.values() if stack})


@contextmanager
def nursery() -> Iterator[Nursery]:
    """A nursery; it is gone when the block ends."""
    command = [sys.executable, "-m", "tests.historian.durability.life"]
    process = subprocess.Popen(
        command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
    )
    lines: SimpleQueue[str] = SimpleQueue()
    reader = Thread(target=_pass_on, args=(process.stdout, lines))
    reader.start()
    found = Nursery(process, lines)
    try:
        yield found
    finally:
        if found._pid:
            os.kill(found._pid, signal.SIGKILL)
        _stdin(process).close()
        process.wait(timeout=60)
        reader.join()


def moment(chance: Random, phases: tuple[str, ...]) -> tuple[float, str]:
    """When to kill: after a time, or a moment after a phase began; seconds and phase, empty for any."""
    if chance.random() < 0.4:
        return chance.uniform(0.0, 0.5), ""
    return _LONGEST_S, chance.choice(phases)


def _pass_on(out: IO[str] | None, lines: SimpleQueue[str]) -> None:
    assert out is not None
    with out:
        for line in out:
            lines.put(line.rstrip("\n"))


def _stdin(process: subprocess.Popen[str]) -> IO[str]:
    assert process.stdin is not None
    return process.stdin
