"""Makes the small store, journal and trial record that later releases must be able to open.

``python scripts/make_upgrade_fixture.py FOLDER`` runs a simulated line for a minute while a plate burns out.
It is run once a release; the result is kept under tests/fixtures/VERSION and never made again.
"""

from __future__ import annotations

import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

from meltledger.config import LineConfig, load
from meltledger.demoline import write_line_file
from rules.entry import Act, ActKind
from rules.journal import Journal
from simulator.scenarios.file import load_scenario
from trials.record import TrialRecord

LONGEST_S = 120
BURNS_OUT_AT = 14_490


def main(folder: Path) -> None:
    """Run the line, mark its alarm as seen, stop it in order and keep what it left."""
    with tempfile.TemporaryDirectory() as made, socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        endpoint = f"opc.tcp://127.0.0.1:{probe.getsockname()[1]}"
        probe.close()
        file = Path(made) / "line.toml"
        write_line_file(file, load_scenario("trial_day"), endpoint, port=8050, zone="Europe/Madrid")
        config = load(file)
        verbs = [
            [
                "simulate",
                "trial_day",
                "--serve",
                "opcua",
                "--endpoint",
                endpoint,
                "--start-at",
                str(BURNS_OUT_AT - 15),
            ],
            ["run", str(file)],
        ]
        running = [subprocess.Popen([sys.executable, "-m", "meltledger", *verb]) for verb in verbs]
        try:
            time.sleep(10)
            _act(config)
            time.sleep(10)
        finally:
            for process in reversed(running):
                process.send_signal(signal.SIGINT)
                process.wait()
        folder.mkdir(parents=True)
        shutil.copy(file, folder / "line.toml")
        for name in ("recent.db", "journal.db", "trials.db"):
            # Everything into the main file: a write-ahead log is no fixture.
            with closing(sqlite3.connect(config.folder / name)) as db:
                db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
                db.execute("PRAGMA journal_mode=DELETE")
            (folder / "data").mkdir(exist_ok=True)
            shutil.copy(config.folder / name, folder / "data" / name)


def _act(config: LineConfig) -> None:
    """Mark the alarm as seen once it is there, and write a note."""
    with closing(Journal.open(config.journal)) as journal:
        end = time.monotonic() + LONGEST_S
        while not journal.alarms() and time.monotonic() < end:
            time.sleep(0.5)
        alarm = journal.alarms()[0]
        journal.record_act(Act(0, time.time_ns(), "ada", "operator", ActKind.SEEN, alarm.rule, alarm.subject))
    with closing(TrialRecord.open(config.trials)) as record:
        under_way = record.under_way()
        assert under_way is not None  # noqa: S101 - `run` has opened it
        record.note(under_way.id, time.time_ns(), "ada", "bale changed")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
