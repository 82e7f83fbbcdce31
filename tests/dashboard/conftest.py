"""A small line of three hours, made here: saw-tooth pressures, eight plates, one alarm, one gap."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from dashboard.reads import LineReads
from historian.catalogue import canonical_tag
from historian.embedded.store import EmbeddedStore
from historian.event import Event
from historian.frame import NS, Frame
from historian.quality import GOOD, NO_COMMUNICATION, RANGE_EXCEEDED
from rules.entry import Entry, EntryKind
from rules.finding import Evidence, Finding, Priority
from rules.journal import Journal
from rules.lifecycle import LifeCycle
from rules.line import LineFacts, MeltFilter
from trials.record import TrialRecord

START_NS = 1_777_874_400 * NS  # 2026-05-04 06:00 UTC, 08:00 in Madrid
SPAN_S = 3 * 3600
END_NS = START_NS + SPAN_S * NS
PERIOD_S, WIPE_S, TRIGGER_BAR = 240, 22, 45.0
PLATES = 8
GAP_S = (4000, 4180)  # the extruder's source is silent
FACTS = LineFacts(
    "pilot-2",
    MeltFilter(plates=PLATES, trigger_dp_bar=TRIGGER_BAR, trigger_held_s=4.0, max_interval_s=540.0),
    barrel_zones=2,
    planned_kg_h=640.0,
)
FILTER_TAGS = [
    "filter.inlet.pressure.pv",
    "filter.outlet.pressure.pv",
    "filter.dp.calc",
    "filter.wiper.state",
    *[f"filter.plate.{n}.{e}" for n in range(1, PLATES + 1) for e in ("temp.pv", "temp.sp", "out")],
]
EXTRUDER_TAGS = [
    "doser.rate.pv",
    "doser.rate.sp",
    "extruder.screw.speed.pv",
    "extruder.screw.speed.sp",
    "extruder.drive.torque.pv",
    "extruder.melt.temp.pv",
    *[f"extruder.zone.{n}.{e}" for n in (1, 2) for e in ("temp.pv", "temp.sp", "out")],
]
PELLET_TAGS = ["die.pressure.pv", "pelletizer.knife.speed.pv", "water.supply.temp.pv"]


def values_at(second: np.ndarray) -> dict[str, np.ndarray]:
    """Every signal at seconds since the start; the screen loads slowly, plate 5 sags in the last hour."""
    chance = np.random.default_rng(int(second[0]) + 7)

    def noise(size: float) -> np.ndarray:
        return chance.normal(0.0, size, len(second))

    phase = second % PERIOD_S
    cycle = second // PERIOD_S
    trough = 22.0 + 0.15 * cycle
    loading = trough + (TRIGGER_BAR + 0.6 - trough) * phase / (PERIOD_S - WIPE_S)
    wiping = phase >= PERIOD_S - WIPE_S
    into_wipe = (phase - (PERIOD_S - WIPE_S)) / WIPE_S
    dp = np.where(wiping, TRIGGER_BAR + 0.6 - (TRIGGER_BAR - trough) * into_wipe, loading) + noise(0.15)
    feed_sp = np.where(second < 1800, 400.0, 640.0)
    outlet = 58.0 * (feed_sp / 640.0) ** 0.5 + noise(0.2)
    made = {
        "filter.inlet.pressure.pv": outlet + dp,
        "filter.outlet.pressure.pv": outlet,
        "filter.dp.calc": dp,
        "filter.wiper.state": wiping.astype(float),
        "doser.rate.pv": feed_sp + noise(4.0),
        "doser.rate.sp": feed_sp,
        "extruder.screw.speed.pv": 95.0 + noise(0.1),
        "extruder.screw.speed.sp": np.full(len(second), 95.0),
        "extruder.drive.torque.pv": 64.0 + noise(0.6),
        "extruder.melt.temp.pv": 221.0 + noise(0.25),
        "die.pressure.pv": outlet - 3.6 + noise(0.2),
        "pelletizer.knife.speed.pv": 1607.0 + noise(2.0),
        "water.supply.temp.pv": 42.0 + noise(0.05),
    }
    sag = np.clip((second - 2.2 * 3600) / 600.0, 0, 1) * -9.0
    for n in range(1, PLATES + 1):
        made[f"filter.plate.{n}.temp.sp"] = np.full(len(second), 220.0)
        made[f"filter.plate.{n}.temp.pv"] = 220.0 + noise(0.12) + (sag if n == 5 else 0.0)
        made[f"filter.plate.{n}.out"] = 33.0 + n + noise(0.8) + (-5 * sag if n == 5 else 0.0)
    for n in (1, 2):
        made[f"extruder.zone.{n}.temp.sp"] = np.full(len(second), 185.0 + 20 * n)
        made[f"extruder.zone.{n}.temp.pv"] = 185.0 + 20 * n + noise(0.2)
        made[f"extruder.zone.{n}.out"] = 12.0 + noise(1.0)
    return made


def all_tags() -> list[object]:
    """Every tag with its source."""
    return [
        *[canonical_tag(p, source="filter-plc", simulated=True) for p in FILTER_TAGS],
        *[canonical_tag(p, source="extruder-plc", simulated=True) for p in EXTRUDER_TAGS],
        *[canonical_tag(p, source="pellet-plc", simulated=True) for p in PELLET_TAGS],
    ]


def frame_of(ids: dict[str, int], start_s: int, end_s: int) -> Frame:
    """The samples of some seconds, arrived half a second after the last."""
    second = np.arange(start_s, end_s)
    made = values_at(second)
    tag, time_ns, value, quality = [], [], [], []
    for path, seen in made.items():
        series = seen
        keep = np.ones(len(second), dtype=bool)
        state = np.full(len(second), GOOD, dtype=np.uint32)
        if path in EXTRUDER_TAGS:
            keep = (second <= GAP_S[0]) | (second >= GAP_S[1])
            state[second == GAP_S[0]] = NO_COMMUNICATION
            series = np.where(second == GAP_S[0], np.nan, series)
        if path == "extruder.melt.temp.pv":
            state[(second >= 6000) & (second < 6600)] = RANGE_EXCEEDED
        tag.append(np.full(keep.sum(), ids[path]))
        time_ns.append((START_NS + second.astype(np.int64) * NS)[keep])
        value.append(series[keep])
        quality.append(state[keep])
    arrival_ns = START_NS + end_s * NS - NS // 2
    return Frame.of(*(np.concatenate(c) for c in (tag, time_ns, value, quality)), arrival_ns=arrival_ns)


def plate_finding(*, active: bool = True, at_ns: int = END_NS - 1500 * NS) -> Finding:
    """Plate 5 loses heat."""
    return Finding(
        "heater-power",
        "filter.plate.5",
        active,
        at_ns,
        at_ns - 60 * NS,
        Priority.MEDIUM,
        "Plate 5 is losing heat: heater power is missing, or its sensor sags (not yet told apart).",
        "Compare heater current with its neighbours. Whether to go on is the shift leader's decision.",
        Evidence(
            at_ns - 600 * NS,
            at_ns,
            ("filter.plate.5.temp.pv", "filter.plate.5.out"),
            {"below_set_point": (7.4, "K"), "output": (71.0, "%")},
        ),
    )


def raise_alarm(journal: Journal, cycle: LifeCycle, finding: Finding) -> None:
    """Put a finding and what it changes into the journal, as the engine does."""
    second = finding.time_ns // NS
    key = f"{second}/finding/{finding.rule}/{finding.subject}/0"
    entries = [
        Entry(
            key, finding.time_ns, EntryKind.FINDING, finding.rule, finding.subject, "rules", finding.to_json()
        )
    ]
    for n, change in enumerate(cycle.finding(finding, (second + 1) * NS)):
        key = f"{second}/transition/{finding.rule}/{finding.subject}/{n}"
        entries.append(
            Entry(
                key,
                change.time_ns,
                EntryKind.TRANSITION,
                change.rule,
                change.subject,
                "rules",
                change.to_json(),
            )
        )
    journal.append(entries)


@dataclass
class SmallLine:
    """The line's parts, each opened for writing, and its reads."""

    folder: Path
    store: EmbeddedStore
    journal: Journal
    trials: TrialRecord
    cycle: LifeCycle

    def reads(self, **changes: object) -> LineReads:
        """What the pages get; the store is the same object, so that a test may add to it."""
        made = {
            "name": "pilot-2",
            "zone": "Europe/Madrid",
            "store": self.store,
            "journal": self.journal,
            "trials": self.trials,
            "facts": FACTS,
            "simulated": True,
        }
        return LineReads(**{**made, **changes})  # type: ignore[arg-type]

    def feed(self, start_s: int, end_s: int) -> None:
        """Add the samples of some seconds since the start."""
        ids = {p: t.id for p, t in self.store.tags().items()}
        self.store.append(frame_of(ids, start_s, end_s))

    def close(self) -> None:
        """Let go of the files."""
        self.store.close()
        self.journal.close()
        self.trials.close()


def open_line(folder: Path) -> SmallLine:
    """An empty line in a folder."""
    store = EmbeddedStore.open(folder / "store")
    store.register(all_tags())  # type: ignore[arg-type]
    journal = Journal.open(folder / "journal.db")
    trials = TrialRecord.open(folder / "trials.db", lambda: END_NS)
    return SmallLine(folder, store, journal, trials, LifeCycle())


def fill_line(line: SmallLine) -> None:
    """Three hours, a trial, an alarm, a mark, a source's words."""
    for start_s in range(0, SPAN_S, 300):
        line.feed(start_s, start_s + 300)
    trial = line.trials.open_trial(
        "T-2031-07", customer="", code_name="Lindental", start_ns=START_NS, plan={}
    )
    line.trials.note(trial.id, START_NS + 5000 * NS, "ana", "lot 7 <b>in</b>")
    raise_alarm(line.journal, line.cycle, plate_finding())
    status = {"name": "scale", "state": "waiting", "since_ns": END_NS, "samples": 0, "unknown": []}
    text = "waiting for scale at opc.tcp://10.0.4.22:4840: next try in 4 s"
    line.journal.event(Event(END_NS - 10 * NS, "scale", "source-waiting", text, {**status, "text": text}))


@pytest.fixture
def empty_line(tmp_path: Path) -> Iterator[SmallLine]:
    """A line that has tags and no data."""
    line = open_line(tmp_path)
    yield line
    line.close()


@pytest.fixture(scope="module")
def full_line(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SmallLine]:
    """Three hours of the small line; tests that share it may add acts, and look for their own."""
    line = open_line(tmp_path_factory.mktemp("line"))
    fill_line(line)
    yield line
    line.close()


@pytest.fixture
def clock() -> Callable[[], int]:
    """A clock that stands at the end of the small line's data."""
    return lambda: END_NS
