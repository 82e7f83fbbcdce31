"""A line at twenty times its speed, over OPC UA and MQTT at once: what `run` holds stays, and nothing is lost."""

from __future__ import annotations

import random
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from urllib.error import HTTPError, URLError
from urllib.request import urlopen

import numpy as np
import pytest
from pyarrow import csv

from historian.embedded.store import EmbeddedStore
from historian.frame import NS, Frame, Series, Times, Values
from historian.quality import is_good
from meltledger.config import load
from meltledger.demoline import write_line_file
from meltledger.measured import all_tags
from simulator.run import published_tags
from simulator.scenarios.file import load_scenario
from tests.journeys.line import LineUnderTest
from tests.support.counted_line import Count, counts_of
from tests.support.growth import WINDOWS, growth_of
from tests.support.mosquitto import Mosquitto
from tests.support.ports import free_port

ROOT = Path(__file__).parents[2]
SPEED = 20
START_S = 14_400
AWAY_S = 7200
"""So long the line was off before: what it recorded earlier is due to be sealed at the start."""

HOUR_S, DAY_S = 3600, 86_400
AFTER_SEALING_S = 240
"""The line's clock begins so long after a full hour: what is sealed each hour is not sealed within a minute."""

MOST_MEMORY = 0.05
MOST_BLOCKS = 0.01
"""Pieces of memory that Python gave out: they tell a leak of one small object a message within a minute."""

MOST_WAL_BYTE = 64_000_000
"""SQLite takes its logs over every thousand pages; while an hour is sealed they grow, and keep that size."""

AT_ONCE = 24  # tags that are read at once

BESIDE = """
[metrics]
port = {metrics}

[[source]]
name = "beside"
kind = "mqtt-json"
broker = "mqtt://127.0.0.1:{broker}"
simulated = true
clock = "own"
[[source.message]]
topic = "soak/batch"
each = ""
name = "/tag"
value = "/v"
time = "/t"
time_format = "ms"
quality = "/q"
[source.tags]
"""


@dataclass
class SoakedLine(LineUnderTest):
    """A line whose machines are read twice: over OPC UA, and beside it as batches over MQTT.

    Attributes:
        span_s: how long they are read at most.
        past_hour_s: what the line's clock shows past a full hour when it begins.
        begin_ns: source time of the scenario's second 0.
    """

    broker_port: int = 0
    span_s: float = 0.0
    past_hour_s: float = AFTER_SEALING_S
    metrics_port: int = field(default_factory=free_port)
    begin_ns: int = 0

    def __post_init__(self) -> None:
        super().__post_init__()
        scenario = load_scenario(self.scenario)
        # The machines' own clock is behind at first, and has caught up at the end.
        self.begin_ns = int(time.time() - SPEED * self.span_s - START_S) * NS
        where = {"port": free_port(), "zone": "UTC", "clock": "own"}
        write_line_file(self.file, scenario, self.endpoint, **where)  # type: ignore[arg-type]
        with self.file.open("a", encoding="utf-8") as file:
            file.write(BESIDE.format(metrics=self.metrics_port, broker=self.broker_port))
            for tag in published_tags(scenario):
                file.write(f'"beside.{tag.path}" = {{ name = "{tag.path}", unit = "{tag.unit}" }}\n')

    @property
    def census(self) -> Path:
        return self.folder / "census.jsonl"

    @property
    def live_ns(self) -> int:
        """Source time from which on the machines are served."""
        return self.begin_ns + START_S * NS

    def seed(self) -> None:
        """An hour of another day that was recorded before, to be sealed and rolled up at the start.

        Every second tag has stamps of its own, as those of a machine have.
        """
        with closing(EmbeddedStore.open(self.data)) as store:
            tags = store.register(all_tags(load(self.file)))
            numbers = [tag.id for path, tag in tags.items() if path.startswith("beside.")]
            tag = np.repeat(np.array(numbers, np.int32), 60)
            begin_ns = (int(self.live_ns / NS) - 3 * DAY_S) * NS
            arrived_ns = (int(time.time()) - AWAY_S) * NS
            for minute in range(60):
                time_ns = np.tile(begin_ns + (minute * 60 + np.arange(60)) * NS, len(numbers))
                time_ns += np.where(tag % 2, tag, 0) * 1_000_000
                value = np.sin(time_ns / NS / 60.0 + tag)
                arrival_ns = arrived_ns + (minute - 60) * 60 * NS
                store.append(Frame.of(tag, time_ns, value, np.zeros(len(tag)), arrival_ns=arrival_ns))

    def start_all(self) -> None:
        when = ["--start-at", str(START_S), "--begin", str(self.begin_ns), "--speed", str(SPEED)]
        opcua = ["--serve", "opcua", "--endpoint", self.endpoint, "--ledger", str(self.folder / "opcua.csv")]
        machines = self._start("machines", ["simulate", self.scenario, *opcua, *when])
        assert machines.stdout is not None and machines.stdout.readline(), "the machines did not start"
        offset = str(int((self.past_hour_s - time.time()) % HOUR_S) - HOUR_S)
        with (self.folder / "run.log").open("a", encoding="utf-8") as log:
            self.processes["run"] = subprocess.Popen(
                [
                    sys.executable,
                    "-m",
                    "tests.support.counted_line",
                    str(self.file),
                    str(self.census),
                    offset,
                ],
                stdout=log,
                stderr=log,
                text=True,
                cwd=ROOT,
            )
        # What a machine publishes once, before anybody listens, is nobody's to have.
        self.until(self.is_connected, 120, "both sources")
        mqtt = ["--serve", "mqtt", "--broker", f"mqtt://127.0.0.1:{self.broker_port}", "--batch"]
        mqtt += ["--times", "ms", "--topic", "soak", "--ledger", str(self.folder / "mqtt.csv")]
        self._start("beside", ["simulate", self.scenario, *mqtt, *when])

    def ask(self, page: str) -> str:
        """What the line tells other programs."""
        try:
            with urlopen(f"http://127.0.0.1:{self.metrics_port}/{page}", timeout=20) as answer:
                return str(answer.read().decode())
        except HTTPError as error:
            return str(error.read().decode())

    def is_connected(self) -> bool:
        """Whether both sources are."""
        return self._each_of_both("meltledger_source_connected")

    def is_collected(self) -> bool:
        """Whether samples of both sources have arrived."""
        return self._each_of_both("meltledger_source_received_samples_total")

    def _each_of_both(self, metric: str) -> bool:
        try:
            told = self.ask("metrics")
        except URLError:  # not there yet
            return False
        found = re.findall(rf"^{metric}{{.*}} (\S+)$", told, re.MULTILINE)
        return len(found) == 2 and all(float(n) > 0 for n in found)

    def wal_byte(self) -> int:
        return sum(file.stat().st_size for file in self.data.glob("*.db-wal"))


def soak(line: SoakedLine, *, warm_s: float, measured_s: float) -> tuple[list[Count], list[int]]:
    """Run everything; what the process held after its warm-up, and how long its write-ahead logs were."""
    line.seed()
    line.start_all()
    line.until(line.is_collected, 60, "samples of both sources")
    warm_until_s = time.monotonic() + warm_s
    logs = []
    while time.monotonic() < warm_until_s + measured_s:
        time.sleep(2.0)
        assert line.processes["run"].poll() is None, line.log("run")[-3000:]
        line.ask("metrics")
        assert '"healthy": true' in line.ask("healthz")
        if time.monotonic() >= warm_until_s:
            logs.append(line.wal_byte())
    counts = [c for c in counts_of(line.census) if c.at_s >= warm_until_s]
    line.processes["run"].send_signal(signal.SIGTERM)
    assert line.processes["run"].wait(timeout=60) == 0, line.log("run")[-3000:]
    line.processes.pop("run")
    # The machines stop last: what they published while nobody collected any more is not ours to have.
    line.stop("machines", "beside")
    return counts, logs


def judge(counts: Sequence[Count], logs: Sequence[int]) -> list[str]:
    """What is wrong with what the process held."""
    memory = growth_of([(c.at_s, c.held_byte) for c in counts])
    blocks = growth_of([(c.at_s, c.blocks) for c in counts])
    print(
        f"memory, bytes: {memory}\nPython's blocks: {blocks}\nwrite-ahead logs: {max(logs) / 1e6:.1f} MB at most"
    )
    wrong = [f"memory grows: {memory}"] if memory.reaches(MOST_MEMORY) else []
    wrong += [f"Python's blocks grow: {blocks}"] if blocks.reaches(MOST_BLOCKS) else []
    wrong += [f"the write-ahead logs take {max(logs)} bytes"] if max(logs) > MOST_WAL_BYTE else []
    first, last = counts[: len(counts) // WINDOWS], counts[-(len(counts) // WINDOWS) :]
    held: dict[str, Callable[[Count], int]] = {
        "tasks": lambda c: c.tasks,
        "threads": lambda c: c.threads,
        "files": lambda c: c.files,
    }
    for what, of in held.items():
        before, after = median(map(of, first)), median(map(of, last))
        print(f"{what}: {before:g} → {after:g}")
        wrong += [f"{what}: {before:g} became {after:g}"] if before != after else []
    return wrong


def lost(line: SoakedLine, ledger: str, prefix: str) -> Iterator[str]:
    """What is wrong with the live samples that are stored, by what the machines say they published."""
    columns = csv.ConvertOptions(include_columns=["path", "time_ns", "value"])
    published = csv.read_csv(line.folder / ledger, convert_options=columns).to_pandas()
    sent = {path: rows.drop_duplicates("time_ns", keep="last") for path, rows in published.groupby("path")}
    counted, paths = 0, list(sent)
    with closing(EmbeddedStore.open(line.data, mode="read")) as store:
        for at in range(0, len(paths), AT_ONCE):
            some = paths[at : at + AT_ONCE]
            stored = store.read([prefix + p for p in some], line.live_ns, 2**62)
            for path in some:
                series, rows = stored[prefix + path], sent[path]
                if not is_good(series.quality).any():
                    yield f"{path}: nothing is stored"
                    continue
                due, missing = _missing(series, rows.time_ns.to_numpy(), rows.value.to_numpy())
                counted += due
                if missing:
                    yield f"{path}: {missing} of {due} samples are missing"
                if len(np.unique(series.time_ns)) != len(series):
                    yield f"{path}: a sample is there twice"
    print(f"{ledger}: {counted} samples published while they were collected")
    if not counted:
        yield f"{ledger}: nothing was published"


def _missing(series: Series, time_ns: Times, value: Values) -> tuple[int, int]:
    """How many were published from the first stored sample to the last, and how many of them are not there."""
    first_ns, last_ns = series.time_ns[is_good(series.quality)][0], series.time_ns[-1]
    due = (time_ns >= first_ns) & (time_ns <= last_ns)
    time_ns, value = time_ns[due], value[due]
    place = np.minimum(np.searchsorted(series.time_ns, time_ns), len(series) - 1)
    there, kept = series.time_ns[place] == time_ns, series.value[place]
    same = (kept == value) | (np.isnan(kept) & np.isnan(value))
    return len(time_ns), int((~(there & same)).sum())


def run_soak(folder: Path, *, warm_s: float, measured_s: float, past_hour_s: float = AFTER_SEALING_S) -> None:
    """Soak a line, and judge."""
    with Mosquitto(folder / "broker") as broker:
        line = SoakedLine(
            folder / "line",
            broker_port=broker.port,
            span_s=warm_s + measured_s + 60.0,
            past_hour_s=past_hour_s,
        )
        try:
            counts, logs = soak(line, warm_s=warm_s, measured_s=measured_s)
        finally:
            line.end()
        assert "house_kept" in line.log("run"), "nothing was sealed"
        wrong = [*judge(counts, logs), *lost(line, "opcua.csv", ""), *lost(line, "mqtt.csv", "beside.")]
        assert wrong == []


@pytest.mark.broker
@pytest.mark.timeout(240)
def test_what_a_minute_at_twenty_times_holds_stays(tmp_path: Path) -> None:
    run_soak(tmp_path, warm_s=30.0, measured_s=60.0)


@pytest.mark.broker
@pytest.mark.long
@pytest.mark.timeout(7200)
def test_what_a_day_at_twenty_times_holds_stays(tmp_path: Path) -> None:
    run_soak(tmp_path, warm_s=300.0, measured_s=DAY_S / SPEED)


def _counts(held: Callable[[int], float], blocks: Callable[[int], float] = lambda s: 650_000) -> list[Count]:
    """A minute of counts, with the unrest that a healthy process shows."""
    chance = random.Random(1)
    return [
        Count(
            float(s),
            int(held(s) + chance.uniform(0, 2e6) + (20e6 if s % 20 == 0 else 0)),
            21 + s % 2,
            7,
            25,
            int(blocks(s) + chance.uniform(0, 3_000)),
        )
        for s in range(61)
    ]


def test_a_healthy_process_is_no_leak_however_it_fidgets() -> None:
    assert judge(_counts(lambda s: 150e6), [8_000_000, 4_000_000]) == []


def test_a_late_end_of_the_warm_up_is_no_leak() -> None:
    assert judge(_counts(lambda s: 150e6 + min(s, 20) * 0.2e6), [8_000_000]) == []


def test_a_small_object_a_sample_is_a_leak() -> None:
    """48 bytes of each of four thousand samples a second."""
    (wrong,) = judge(_counts(lambda s: 150e6 + 48 * 4_000 * s), [8_000_000])
    assert wrong.startswith("memory grows")


def test_a_leak_that_comes_in_steps_is_a_leak() -> None:
    (wrong,) = judge(_counts(lambda s: 150e6 + 3e6 * (s // 10)), [8_000_000])
    assert wrong.startswith("memory grows")


def test_a_few_objects_a_message_are_a_leak() -> None:
    """Ten of each of twenty batches a second: far less than memory shows in a minute."""
    (wrong,) = judge(_counts(lambda s: 150e6, lambda s: 650_000 + 10 * 20 * s), [8_000_000])
    assert wrong.startswith("Python's blocks grow")


def test_what_is_opened_and_not_closed_is_told() -> None:
    counts = [
        Count(float(s), 150_000_000, 21 + s // 10, 7 + s // 20, 25 + s // 8, 650_000) for s in range(61)
    ]
    assert [w.split(":")[0] for w in judge(counts, [8_000_000])] == ["tasks", "threads", "files"]


def test_a_write_ahead_log_that_is_never_taken_over_is_told() -> None:
    (wrong,) = judge(_counts(lambda s: 150e6), [8_000_000, MOST_WAL_BYTE + 1])
    assert wrong.startswith("the write-ahead logs take")
