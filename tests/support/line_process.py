"""``meltledger run`` with a clock that a test sets: LINE.toml CLOCK, where CLOCK holds nanoseconds as text."""

from __future__ import annotations

import asyncio
import signal
import sys
import time
from pathlib import Path

from meltledger.config import load
from meltledger.logs import set_up
from meltledger.wiring import run_line


class SetClock:
    """This computer's clock, off by what a file says."""

    def __init__(self, file: Path) -> None:
        self._file = file

    def now_ns(self) -> int:
        return time.time_ns() + int(self._file.read_text(encoding="ascii") or 0)


async def main(file: Path, clock: Path) -> None:
    stop = asyncio.Event()
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, stop.set)
    await run_line(load(file), stop, clock=SetClock(clock))


if __name__ == "__main__":
    set_up()
    asyncio.run(main(Path(sys.argv[1]), Path(sys.argv[2])))
