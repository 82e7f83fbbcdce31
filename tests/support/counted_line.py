"""``meltledger run`` that counts what it holds: LINE.toml CENSUS OFFSET_S; each second CENSUS gets a JSON line.

The line's clock is ahead of this computer's by OFFSET_S.

With PYTHONTRACEMALLOC set, the second SIGUSR2 writes beside CENSUS where the memory was taken that came since the
first one.
"""

from __future__ import annotations

import asyncio
import gc
import json
import re
import signal
import sys
import threading
import time
import tracemalloc
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from historian.frame import NS
from meltledger.config import load
from meltledger.logs import set_up
from meltledger.wiring import run_line

EVERY_S = 1.0
_OF_STATUS = re.compile(r"^(?:RssAnon|VmSwap):\s*(\d+) kB$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Count:
    """What a process holds at one moment.

    Attributes:
        at_s: on the monotonic clock.
        held_byte: memory that is not a file's, in the machine or swapped out. Pages of program files are left
            out: the kernel takes them away and brings them back as it likes.
        tasks, threads, files: asyncio's tasks, threads that Python knows, open descriptors.
        blocks: of memory that Python's own allocator has given out.
    """

    at_s: float
    held_byte: int
    tasks: int
    threads: int
    files: int
    blocks: int


def counts_of(census: Path) -> list[Count]:
    """What was counted so far."""
    return [Count(**json.loads(line)) for line in census.read_text(encoding="ascii").splitlines()]


def _now(tasks: int) -> Count:
    status = Path("/proc/self/status").read_text(encoding="ascii", errors="replace")
    return Count(
        time.monotonic(),
        1024 * sum(map(int, _OF_STATUS.findall(status))),
        tasks,
        threading.active_count(),
        len(list(Path("/proc/self/fd").iterdir())),
        sys.getallocatedblocks(),
    )


async def _count(census: Path) -> None:
    with census.open("a", buffering=1, encoding="ascii") as file:
        while True:
            file.write(json.dumps(asdict(_now(len(asyncio.all_tasks())))) + "\n")
            await asyncio.sleep(EVERY_S)


class _Grown:
    """Tells where memory was taken that has come since it was first asked."""

    def __init__(self, file: Path) -> None:
        self._file = file
        self._first: tracemalloc.Snapshot | None = None

    def tell(self) -> None:
        gc.collect()
        now = tracemalloc.take_snapshot()
        if self._first is None:
            self._first = now
            return
        found = now.compare_to(self._first, "traceback")[:40]
        lines = [
            f"{g.size_diff:+d} bytes, {g.count_diff:+d} blocks\n" + "\n".join(g.traceback.format())
            for g in found
        ]
        self._file.write_text("\n\n".join(lines), encoding="utf-8")


class _OffClock:
    """This computer's clock, and something."""

    def __init__(self, offset_s: int) -> None:
        self._offset_ns = offset_s * NS

    def now_ns(self) -> int:
        return time.time_ns() + self._offset_ns


async def main(line: Path, census: Path, offset_s: int) -> None:
    """Run the line, counting, until asked to stop."""
    stop, loop = asyncio.Event(), asyncio.get_running_loop()
    loop.add_signal_handler(signal.SIGTERM, stop.set)
    if tracemalloc.is_tracing():
        grown = _Grown(census.with_suffix(".grown"))
        loop.add_signal_handler(signal.SIGUSR2, grown.tell)
    counting = asyncio.create_task(_count(census))
    try:
        await run_line(load(line), stop, clock=_OffClock(offset_s))
    finally:
        counting.cancel()
        with suppress(asyncio.CancelledError):
            await counting


if __name__ == "__main__":
    set_up()
    asyncio.run(main(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])))
