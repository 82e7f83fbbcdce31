"""Serves the small line in a process of its own: ``python served_line.py FOLDER PORT``.

The folder holds three hours already; one more second is fed each second until a file ``stop`` lies in it.
The clock begins at the end of the three hours.
"""

from __future__ import annotations

import sys
import threading
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parent)]

import conftest as small  # noqa: E402 - its folder is put on the path first

from dashboard.app import create_app, serve  # noqa: E402
from historian.embedded.store import EmbeddedStore  # noqa: E402
from historian.frame import NS  # noqa: E402


def main(folder: Path, port: int) -> None:
    """Feed and serve until killed."""
    began = time.monotonic_ns()
    line = small.open_line(folder)

    def now_ns() -> int:
        return small.END_NS + time.monotonic_ns() - began

    def feed() -> None:
        second = small.SPAN_S
        while not (folder / "stop").exists():
            if now_ns() >= small.START_NS + (second + 1) * NS:
                line.feed(second, second + 1)
                second += 1
            time.sleep(0.1)

    threading.Thread(target=feed, daemon=True).start()
    reads = line.reads(store=EmbeddedStore.open(folder / "store", mode="read"))
    serve(create_app([reads], clock=now_ns), "127.0.0.1", port)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
