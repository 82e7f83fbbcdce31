"""A real mosquitto on 127.0.0.1 that a test can stop and start again."""

from __future__ import annotations

import os
import shutil
import subprocess
import time
from pathlib import Path
from typing import Self

from tests.support.ports import free_port


class Mosquitto:
    """A broker with its own configuration, log and database in one folder.

    Attributes:
        port: where it listens; the same after each start.
    """

    def __init__(self, folder: Path, *lines: str) -> None:
        self.port = free_port()
        self._folder = folder
        folder.mkdir(exist_ok=True)
        self._process: subprocess.Popen[bytes] | None = None
        access = () if any("allow_anonymous" in line for line in lines) else ("allow_anonymous true",)
        settings = [
            f"listener {self.port} 127.0.0.1",
            "persistence true",
            f"persistence_location {folder}/",
            "max_queued_messages 0",
            f"log_dest file {folder / 'log'}",
            # Started by root it would give its rights up and lose its folder.
            f"user {'root' if os.geteuid() == 0 else 'nobody'}",
            *access,
            *lines,
        ]
        (folder / "mosquitto.conf").write_text("\n".join(settings) + "\n", encoding="utf-8")

    def start(self) -> None:
        """Start it and wait until it listens."""
        path = os.pathsep.join([os.environ.get("PATH", os.defpath), "/usr/sbin", "/usr/local/sbin"])
        program = shutil.which("mosquitto", path=path)
        assert program is not None
        self._process = subprocess.Popen(
            [program, "-c", str(self._folder / "mosquitto.conf")],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for _ in range(200):
            if str(self.port) in _listening():
                return
            assert self._process.poll() is None, (self._folder / "log").read_text(encoding="utf-8")
            time.sleep(0.02)
        self.stop()
        raise AssertionError("mosquitto does not listen")

    def said(self) -> str:
        """Its log so far; with ``log_type all`` it tells of every message."""
        return (self._folder / "log").read_text(encoding="utf-8", errors="replace")

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def stop(self) -> None:
        """End it in order: it keeps the sessions of its clients."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(10.0)
            self._process = None


def _listening() -> set[str]:
    """The TCP ports on which something listens, as text."""
    rows = Path("/proc/net/tcp").read_text(encoding="ascii").splitlines()[1:]
    fields = [row.split() for row in rows]
    return {str(int(f[1].rpartition(":")[2], 16)) for f in fields if f[3] == "0A"}
