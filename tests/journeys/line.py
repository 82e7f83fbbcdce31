"""A whole line in processes of its own, as a user runs it: simulated machines, `run`, and what they left on disk."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from historian.embedded.store import EmbeddedStore
from historian.errors import StoreReadOnly, WrongInput
from historian.frame import Series
from meltledger.demoline import write_line_file
from rules.entry import Entry
from rules.journal import Journal
from simulator.scenarios.file import load_scenario
from tests.support.ports import free_port


@dataclass
class LineUnderTest:
    """The processes and the folder of one line."""

    folder: Path
    aux_channels: int = 0
    scenario: str = "trial_day"
    port: int = field(default_factory=free_port)
    processes: dict[str, subprocess.Popen[str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        scenario = load_scenario(self.scenario)
        write_line_file(
            self.file,
            scenario,
            self.endpoint,
            port=free_port(),
            zone="Europe/Madrid",
            aux_channels=self.aux_channels,
        )

    @property
    def file(self) -> Path:
        return self.folder / "line.toml"

    @property
    def endpoint(self) -> str:
        return f"opc.tcp://127.0.0.1:{self.port}"

    @property
    def data(self) -> Path:
        return self.folder / "data"

    def start_machines(
        self,
        *,
        start_at: int = 14_400,
        ledger: str = "ledger.csv",
        faults: bool = True,
        more: Sequence[str] = (),
    ) -> None:
        arguments = ["simulate", self.scenario, "--serve", "opcua", "--endpoint", self.endpoint]
        arguments += ["--start-at", str(start_at), "--ledger", str(self.folder / ledger)]
        arguments += ["--aux-channels", str(self.aux_channels), *([] if faults else ["--without-faults"])]
        arguments += more
        process = self._start("machines", arguments)
        assert process.stdout is not None
        assert process.stdout.readline(), "the simulated line did not start"

    def start_run(self) -> None:
        self._start("run", ["run", str(self.file)])

    def _start(self, name: str, arguments: Sequence[str]) -> subprocess.Popen[str]:
        log = (self.folder / f"{name}.log").open("a", encoding="utf-8")
        self.processes[name] = subprocess.Popen(
            [sys.executable, "-m", "meltledger", *arguments],
            stdout=subprocess.PIPE if name == "machines" else log,
            stderr=log,
            text=True,
            start_new_session=True,
        )
        log.close()
        return self.processes[name]

    def kill(self, *names: str) -> int:
        """SIGKILL to the processes; gives the time at which it was sent, UTC nanoseconds."""
        now_ns = time.time_ns()
        for name in names:
            os.kill(self.processes[name].pid, signal.SIGKILL)
        for name in names:
            self._gone(name)
        return now_ns

    def stop(self, *names: str) -> None:
        for name in names or tuple(self.processes):
            if name in self.processes:
                self.processes[name].send_signal(signal.SIGINT)
        for name in names or tuple(self.processes):
            if name in self.processes:
                assert self.processes[name].wait(timeout=20) == 0, self.log(name)
                self._gone(name)

    def _gone(self, name: str) -> None:
        process = self.processes.pop(name)
        process.wait(timeout=20)
        if process.stdout is not None:
            process.stdout.close()

    def end(self) -> None:
        for name in tuple(self.processes):
            self.processes[name].kill()
            self._gone(name)

    def log(self, name: str) -> str:
        return (self.folder / f"{name}.log").read_text(encoding="utf-8")

    def published(self, *ledgers: str) -> dict[str, dict[int, float]]:
        """Every sample that the machines published: path → source time → value."""
        found: dict[str, dict[int, float]] = {}
        for name in ledgers or ("ledger.csv",):
            with (self.folder / name).open(newline="", encoding="utf-8") as file:
                rows = [
                    r for r in csv.DictReader(file) if r["quality"] is not None and r["changed"] is not None
                ]
            for row in rows:
                found.setdefault(row["path"], {})[int(row["time_ns"])] = float(row["value"])
        return found

    def stored(self) -> dict[str, Series]:
        try:
            store = EmbeddedStore.open(self.data, mode="read")
        except WrongInput:  # not there yet
            return {}
        try:
            span = store.span()
            paths = [p for p, t in store.tags().items() if t.source != "edge"]
            return store.read(paths, span[0], span[1] + 1) if span else {}
        finally:
            store.close()

    def journal(self) -> list[Entry]:
        if not (self.data / "journal.db").exists():
            return []
        try:
            journal = Journal.open(self.data / "journal.db", mode="read")
        except StoreReadOnly:  # only just made
            return []
        try:
            return journal.entries()
        finally:
            journal.close()

    def until(self, condition: Callable[[], bool], seconds: float, what: str) -> None:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if condition():
                return
            time.sleep(0.2)
        raise AssertionError(f"after {seconds} s still not: {what}\n{self.log('run')[-3000:]}")

    def samples_of(self, path: str) -> int:
        return len(self.stored().get(path, Series.empty()))

    def replay_differences(self) -> str:
        done = subprocess.run(
            [sys.executable, "-m", "meltledger", "replay", str(self.file), "--compare"],
            capture_output=True,
            text=True,
            timeout=300,
            check=False,
        )
        assert done.returncode in (0, 1), done.stderr
        return done.stdout if done.returncode else ""


def told(entries: Sequence[Entry], kind: str) -> list[Entry]:
    """The events of one kind."""
    return [e for e in entries if e.kind == "event" and e.data["kind"] == kind]


def truth(folder: Path) -> list[dict[str, object]]:
    """What really went wrong."""
    found: list[dict[str, object]] = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return found
