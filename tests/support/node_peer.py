"""A machine of somebody else's making: a Node.js program in tests/journeys/peers, steered by words."""

from __future__ import annotations

import json
import shutil
import subprocess
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

PEERS = Path(__file__).parents[1] / "journeys" / "peers"


@dataclass
class NodePeer:
    """Starts and steers a program of ``peers/``; it answers every line that it is sent with one.

    Attributes:
        script: its file.
        folder: where it writes down what it served or published.
        arguments: between the script and the folder.
    """

    script: str
    folder: Path
    arguments: tuple[str, ...]
    _process: subprocess.Popen[str] | None = field(default=None, repr=False)

    def start(self) -> None:
        """Start, and come back when it is ready."""
        self.folder.mkdir(exist_ok=True)
        node = shutil.which("node")
        assert node is not None
        with self._log.open("a", encoding="utf-8") as log:
            self._process = subprocess.Popen(
                [node, self.script, *self.arguments, str(self.folder)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=log,
                text=True,
                cwd=PEERS,
            )
        self._answer("ready")

    def ask(self, word: str) -> None:
        """Send a command and come back when it is done."""
        assert self._process is not None and self._process.stdin is not None
        self._process.stdin.write(word + "\n")
        self._process.stdin.flush()
        self._answer("done")

    def written(self, name: str) -> list[Any]:
        """The lines of a record, read as JSON."""
        text = (self.folder / name).read_text(encoding="utf-8")
        return [json.loads(line) for line in text.splitlines()]

    def kill(self) -> None:
        """kill -9, if it runs: no goodbye."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            for end in (self._process.stdin, self._process.stdout):
                if end is not None:
                    end.close()
            self._process = None

    @property
    def _log(self) -> Path:
        return self.folder / "peer.log"

    def _answer(self, wanted: str) -> None:
        """Read up to the wanted line; libraries print lines of their own."""
        assert self._process is not None and self._process.stdout is not None
        for line in self._process.stdout:
            if line.strip() == wanted:
                return
        raise AssertionError(f"{self.script} ended: {self._log.read_text(encoding='utf-8')[-2000:]}")
