"""Makes the pictures of the README from a demo of its own: ``make pictures``."""

from __future__ import annotations

import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[1]
START_S: Final = 120
# By then the past hours are judged and a heater plate has burnt out: that is what the pictures show.
CATCH_UP_S: Final = 150


@contextmanager
def demo(folder: Path) -> Iterator[str]:
    """The address of a demo in which data flow; it is ended afterwards."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    arguments = ["demo", "--port", str(port), "--folder", str(folder), "--no-browser"]
    process = subprocess.Popen([sys.executable, "-m", "meltledger", *arguments], cwd=ROOT)
    address = f"http://127.0.0.1:{port}"
    try:
        _wait_for_data(address, process)
        yield address
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(timeout=30)


def _wait_for_data(address: str, process: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + START_S
    while time.monotonic() < deadline:
        if process.poll() is not None:
            raise SystemExit("the demo ended before its pages were there; what it said stands above")
        try:
            with urllib.request.urlopen(f"{address}/healthz", timeout=2) as answer:
                if answer.status == 200:
                    return
        except (urllib.error.URLError, OSError):
            pass  # not there yet; the deadline ends this
        time.sleep(0.5)
    raise SystemExit(f"{address}/healthz did not answer 200 within {START_S} s")


def main() -> int:
    """Every picture into a folder of its own; those that the README shows into docs/pictures."""
    with tempfile.TemporaryDirectory() as folder, demo(Path(folder) / "demo") as address:
        time.sleep(CATCH_UP_S)
        subprocess.run([sys.executable, "scripts/screenshots.py", address, folder], cwd=ROOT, check=True)
        (ROOT / "docs" / "pictures").mkdir(exist_ok=True)
        for shown in re.findall(r"\(docs/pictures/(\S+\.png)\)", (ROOT / "README.md").read_text("utf-8")):
            shutil.copy(Path(folder) / shown, ROOT / "docs" / "pictures" / shown)
            print(f"docs/pictures/{shown}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
