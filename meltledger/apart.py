"""Upkeep in a process of its own, which ends with the step.

Why: an hour that is sealed takes a hundred megabytes and a whole core for seconds. Done beside the judge, it
would hold the judge up, and what the allocators keep of it would stay with a process that runs for weeks. A
process that ends gives everything back, and the scheduler puts it behind the line.
"""

from __future__ import annotations

import fcntl
import os
import pickle
import signal
import subprocess
import sys
from collections.abc import Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Self

from historian.archive.manifest import HOUR_NS
from historian.embedded.upkeep import GRACE_NS, Kept, Upkeep
from historian.errors import MeltledgerError
from historian.memory import give_back
from historian.retention import Keep, RetentionPlan, Window

_NICE: Final = 10
_NOTHING: Final = Kept(0, 0, 0, RetentionPlan())


@dataclass(frozen=True, slots=True)
class _Order:
    folder: Path
    line: str
    keep: Keep
    now_ns: int
    held: tuple[Window, ...]


class UpkeepApart:
    """What ``historian.embedded.upkeep.Upkeep`` is to a running line, for the same folder.

    A step is done when an hour was closed since the last one that went well, and at the first call.
    """

    def __init__(self, folder: Path, line: str, keep: Keep) -> None:
        self._folder, self._line, self._keep = folder, line, keep
        self._done_hour: int | None = None

    @classmethod
    def open(cls, folder: Path, line: str, keep: Keep) -> Self:
        """For the folder of a store that a writer has made; errors are told by the first step."""
        return cls(folder, line, keep)

    def step(self, now_ns: int, held: Sequence[Window] = ()) -> Kept:
        """Do what is due, and wait for it.

        Raises:
            MeltledgerError: what ``Upkeep.step`` raises, or that the process came to no end of its own.
        """
        hour = (now_ns - GRACE_NS) // HOUR_NS
        if hour == self._done_hour:
            give_back()
            return _NOTHING
        kept = _ask(_Order(self._folder, self._line, self._keep, now_ns, tuple(held)))
        self._done_hour = hour
        return kept

    def close(self) -> None:
        """Nothing is held between two steps."""


def _ask(order: _Order) -> Kept:
    done = subprocess.run(
        [sys.executable, "-m", "meltledger.apart"],
        input=pickle.dumps(order),
        capture_output=True,
        check=False,
    )
    if done.returncode != 0:
        lines = done.stderr.decode(errors="replace").strip().splitlines()
        told = lines[-1] if lines else f"it ended with {done.returncode}"
        raise MeltledgerError(f"{order.folder}: the process that seals did not end well: {told}")
    answer: Kept | MeltledgerError = pickle.loads(done.stdout)
    if isinstance(answer, MeltledgerError):
        raise answer
    return answer


def _do(order: _Order) -> Kept | MeltledgerError:
    """One step, behind whoever is still at one: a run that was killed leaves its last step to end."""
    try:
        with suppress(OSError):  # a full or read-only disk is told below
            lock = os.open(order.folder / "upkeep.lock", os.O_RDWR | os.O_CREAT, 0o600)
            fcntl.flock(lock, fcntl.LOCK_EX)
        with closing(Upkeep.open(order.folder, order.line, order.keep)) as upkeep:
            return upkeep.step(order.now_ns, order.held)
    except MeltledgerError as error:
        return error


def main() -> None:
    """Take the order from standard input; give the answer on standard output."""
    for stop in (signal.SIGTERM, signal.SIGINT):
        signal.signal(stop, signal.SIG_IGN)  # a step is whole or not at all; who asked waits for it
    os.nice(_NICE)
    sys.stdout.buffer.write(pickle.dumps(_do(pickle.loads(sys.stdin.buffer.read()))))


if __name__ == "__main__":
    main()
