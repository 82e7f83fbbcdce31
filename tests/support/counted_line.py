"""``meltledger run`` that counts what it holds: LINE.toml CENSUS OFFSET_S; each second CENSUS gets a JSON line.

The line's clock is ahead of this computer's by OFFSET_S.

SIGUSR2 begins to trace memory; a second one writes beside CENSUS where what came since, and stayed, was taken.
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
_DEPTH, _TOLD = 12, 40  # frames of a place, places
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


def _trace(file: Path) -> None:
    """Begin to trace, or tell what came since."""
    gc.collect()
    if not tracemalloc.is_tracing():
        tracemalloc.start(_DEPTH)
        return
    found = tracemalloc.take_snapshot().statistics("traceback")[:_TOLD]
    tracemalloc.stop()
    lines = [f"{s.size} bytes, {s.count} blocks\n" + "\n".join(s.traceback.format()) for s in found]
    file.write_text("\n\n".join(lines), encoding="utf-8")


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
    loop.add_signal_handler(signal.SIGUSR2, _trace, census.with_suffix(".grown"))
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
