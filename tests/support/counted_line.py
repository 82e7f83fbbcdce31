"""``meltledger run`` that counts what it holds: LINE.toml CENSUS OFFSET_S, with the clock off by OFFSET_S.

Every second it adds a JSON line to CENSUS. With PYTHONTRACEMALLOC set it also says, at its end, where the memory
was taken that came since its own signal SIGUSR2.
"""

from __future__ import annotations

import asyncio
import gc
import json
import signal
import sys
import threading
import time
import tracemalloc
from dataclasses import asdict, dataclass
from pathlib import Path

import psutil

from meltledger.config import load
from meltledger.logs import set_up
from meltledger.wiring import run_line

EVERY_S = 1.0


@dataclass(frozen=True, slots=True)
class Count:
    """What a process holds at one moment.

    Attributes:
        at_s: on the monotonic clock.
        uss_byte: memory that only this process uses.
        files: open file descriptors.
        blocks: of memory that Python's own allocator has given out.
    """

    at_s: float
    uss_byte: int
    tasks: int
    threads: int
    files: int
    blocks: int


def counts_of(census: Path) -> list[Count]:
    """What was counted so far."""
    return [Count(**json.loads(line)) for line in census.read_text(encoding="ascii").splitlines()]


class _OffClock:
    """This computer's clock, and something."""

    def __init__(self, offset_s: int) -> None:
        self._offset_ns = offset_s * 1_000_000_000

    def now_ns(self) -> int:
        return time.time_ns() + self._offset_ns


async def _count(census: Path) -> None:
    process = psutil.Process()
    with census.open("a", buffering=1, encoding="ascii") as file:
        while True:
            memory = await asyncio.to_thread(process.memory_full_info)
            count = Count(
                time.monotonic(),
                memory.uss,
                len(asyncio.all_tasks()),
                threading.active_count(),
                process.num_fds(),
                sys.getallocatedblocks(),
            )
            file.write(json.dumps(asdict(count)) + "\n")
            await asyncio.sleep(EVERY_S)


def _tell_of_memory(census: Path, before: tracemalloc.Snapshot) -> None:
    gc.collect()
    grown = tracemalloc.take_snapshot().compare_to(before, "traceback")
    lines = [f"{g.size_diff:+d} bytes, {g.count_diff:+d} blocks\n" + "\n".join(g.traceback.format()) for g in grown[:40]]
    census.with_suffix(".grown").write_text("\n\n".join(lines), encoding="utf-8")


async def main(file: Path, census: Path, offset_s: int) -> None:
    stop, taken = asyncio.Event(), []

    def take() -> None:
        gc.collect()
        taken.append(tracemalloc.take_snapshot())

    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    loop.add_signal_handler(signal.SIGUSR2, take)
    counting = asyncio.create_task(_count(census))
    try:
        if tracemalloc.is_tracing():
            telling = asyncio.create_task(_told_at(stop, census, taken))
        await run_line(load(file), stop, clock=_OffClock(offset_s))
        if tracemalloc.is_tracing():
            await telling
    finally:
        counting.cancel()


async def _told_at(stop: asyncio.Event, census: Path, taken: list[tracemalloc.Snapshot]) -> None:
    await stop.wait()
    if taken:
        _tell_of_memory(census, taken[0])


if __name__ == "__main__":
    set_up()
    asyncio.run(main(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])))
