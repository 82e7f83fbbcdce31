"""Trials made by hand for reports: whole, without steady time, without tags, hostile words; fast and without chance."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np

from historian.catalogue import canonical_tag
from historian.frame import NS, Series
from process.cycles import cycles_of
from process.phases import Phase
from rules.finding import Priority
from rules.line import LineFacts, MeltFilter
from tests.support.made_traces import PERIOD_S, WIPE_S
from trials.bars import AlarmBar
from trials.figures import Calibration
from trials.outcome import Outcome
from trials.outcome.together import outcome_of
from trials.record import Trial
from trials.record.entries import Entry, What
from trials.segments import SettingChange, Timeline

T0_NS = 1_800_000_000 * NS
LENGTH_S = 4 * 3600
STEADY_S = (5400, 9600)
SECOND_S = (10_200, 13_800)
LINE = LineFacts(
    "pilot line", MeltFilter(8, 1, 45.0, 0.0, 540.0, screen_area_cm2=1178, fineness_um=110), 5, 780.0
)
TARGETS = [
    {"figure": "throughput", "least": "750 kg/h"},
    {"figure": "melt temperature", "most": "215 Cel"},
    {"figure": "cleaning period", "least": "240.001 s"},
    {"figure": "recovery", "least": "80 %"},
    {"figure": "taste", "least": "1 1"},
    {"figure": "specific energy", "most": "45 bar"},
]
PHOTO = hashlib.sha256(b"screen").hexdigest()


def at(second: float) -> int:
    """A time of the trial."""
    return T0_NS + round(second * NS)


def series(*, noise: float = 1.0) -> dict[str, Series]:
    """Four hours: heated, then 780 kg/h from 1 h 30 min on, 700 kg/h from 2 h 50 min on; a gap of four minutes."""
    second = np.arange(LENGTH_S)
    wave = noise * np.sin(second * 0.7) * np.cos(second * 0.031)
    runs = (second >= 4800) & (second < 14_100)
    flow = np.where(second < SECOND_S[0] - 60, 780.0, 700.0)
    phase = second % PERIOD_S
    rising = PERIOD_S - WIPE_S
    dp = np.where(phase >= rising, 45 - 21 * (phase - rising) / WIPE_S, 24 + 21 * phase / rising)
    dp = dp + second / LENGTH_S * 2.0
    wiping = (phase >= rising) & runs
    made = {
        "doser.rate.pv": runs * (flow + 3 * wave),
        "doser.rate.sp": runs * flow,
        "product.scale.total": 100 + np.cumsum(runs * flow * 0.974) / 3600,
        "filter.discharge.weight.total": 1.1 * np.cumsum(np.diff(wiping.astype(float), prepend=0) > 0),
        "filter.inlet.pressure.pv": runs * (60 + dp + 0.2 * wave),
        "filter.outlet.pressure.pv": runs * (60.0 + 0.1 * wave),
        "filter.wiper.state": wiping.astype(float),
        "filter.wipe.dp.sp": np.full(LENGTH_S, 45.0),
        "die.pressure.pv": runs * (55.0 + 0.1 * wave),
        "extruder.melt.temp.pv": np.where(runs, 222.0 + 0.3 * wave, 205.0),
        "extruder.screw.speed.pv": runs * 95.0,
        "extruder.screw.speed.sp": runs * 95.0,
        "extruder.drive.torque.pv": runs * (64.0 + wave),
        "extruder.drive.energy.total": 5000 + np.cumsum(runs * 148.0) / 3600,
        "line.energy.total": 9000 + np.cumsum(20 + runs * 172.0) / 3600,
        "pelletizer.knife.speed.pv": runs * 1607.0,
        "water.supply.temp.pv": np.full(LENGTH_S, 42.0),
        "water.return.temp.pv": 42.0 + runs * 4.25,
        "water.flow.pv": np.full(LENGTH_S, 22.0),
        **{f"extruder.zone.{n}.temp.pv": np.minimum(25 + second / 14, t) + 0.2 * wave for n, t in _zones()},
        **{f"extruder.zone.{n}.temp.sp": np.full(LENGTH_S, float(t)) for n, t in _zones()},
        **{
            f"filter.plate.{n}.temp.pv": np.minimum(25 + second / 15, 220.0) + 0.2 * wave for n in range(1, 9)
        },
        **{f"filter.plate.{n}.temp.sp": np.full(LENGTH_S, 220.0) for n in range(1, 9)},
        **{f"filter.plate.{n}.out": 30.0 + n + wave for n in range(1, 9)},
    }
    lost = (second >= 7000) & (second < 7240)
    return {
        path: Series.of(
            T0_NS + second[keep] * NS, np.asarray(value, float)[keep], np.zeros(int(keep.sum()), np.uint32)
        )
        for path, value in made.items()
        for keep in [~(lost & (path == "extruder.drive.torque.pv"))]
    }


def _zones() -> list[tuple[int, int]]:
    return list(enumerate((150, 185, 205, 212, 215), start=1))


def calibrations() -> dict[str, Calibration]:
    """As a register might say it, of some sensors."""
    gauges = {
        p: Calibration({p: 0.3, "calibrator": 0.2})
        for p in ("filter.inlet.pressure.pv", "filter.outlet.pressure.pv")
    }
    others = ("doser.rate.pv", "product.scale.total", "extruder.melt.temp.pv", "line.energy.total")
    return {**gauges, **{p: Calibration({p: 0.1}, {p: 0.004}) for p in others}}


def timeline(made: Mapping[str, Series], *, steady: bool = True) -> Timeline:
    """Phases as a person would see them, the cleanings, two alarms, one setting that was changed."""
    bounds = [(0, "heat-up"), (3000, "soak"), (4800, "start"), (STEADY_S[0], "steady"), (STEADY_S[1], "ramp")]
    bounds += [(SECOND_S[0], "steady"), (SECOND_S[1], "running"), (14_100, "shutdown"), (LENGTH_S, "")]
    phases = [
        Phase("running" if not steady and name == "steady" else name, at(a), at(b), "as made")
        for (a, name), (b, _) in pairwise(bounds)
    ]
    one = made.get("filter.inlet.pressure.pv")
    cycles = []
    if one is not None and "filter.wiper.state" in made:
        dp = one.value - made["filter.outlet.pressure.pv"].value
        cycles = cycles_of(one.time_ns, dp, made["filter.wiper.state"].value, made["die.pressure.pv"].value)
    alarms = [
        AlarmBar(
            "plate-out",
            "filter.plate.3",
            Priority.MEDIUM,
            "Plate 3 draws no current.",
            at(8000),
            None,
            at(8120),
            "returned",
        ),
        AlarmBar("screen-blinding", "filter", Priority.LOW, "Pressure rises faster than before.", at(12_000)),
    ]
    changes = [SettingChange(at(10_140), "doser.rate.sp", 780.0, 700.0, "kg/h")]
    return Timeline(T0_NS, at(LENGTH_S), phases, changes, cycles, alarms, [])


def entries(**changed: Any) -> list[Entry]:
    """What people wrote down; a word under its key takes the place of the usual one."""
    say = {
        "polymer": "PE-LD",
        "question": "Does it run at 110 um with 780 kg/h for an hour?",
        "note": "bale 7 smells",
        **changed,
    }
    forms: list[tuple[float, What, dict[str, Any]]] = [
        (0, What.MATERIAL, {"polymer": say["polymer"], "form": "film agglomerate", "lot": "1", "amount": "1.2 t",
                            "melt_density": "740 kg/m3", "activation_energy": "45 kJ/mol", "heat_capacity": "2.5 kJ/(kg.K)",
                            "melting": "100 kJ/kg", "pellet_temperature": "62 Cel", "contamination": say["note"]}),
        (0, What.PLAN, {"question": say["question"], "throughput": "780 kg/h", "fineness": ["110 um"], "steady": "60 min",
                        "settings": {"doser.rate.sp": "780 kg/h"}, "target": TARGETS}),
        (0, What.PERSON, {"name": "A. Doe", "role": "trial engineer"}),
        (0, What.DIE, {"holes": 120, "hole": "2.6 mm", "knives": 4}),
        (60, What.SCREEN, {"serial": "S-17", "fineness": "110 um", "area": "1178 cm2", "open": "10 %", "mesh": "none"}),
        (60, What.LOT, {"lot": "1", "bale": "6"}),
        (100, What.PRE_ANALYSIS, {"what": "melt-flow-rate", "value": "1.1 g/10min", "temperature": "190 Cel", "load": "2.16 kg"}),
        (100, What.PRE_ANALYSIS, {"what": "melt-flow-rate", "value": "4.9 g/10min", "temperature": "190 Cel", "load": "5 kg"}),
        (100, What.PRE_ANALYSIS, {"what": "moisture", "value": "0.42 %", "method": "ISO 15512"}),
        (100, What.PRE_ANALYSIS, {"what": "moisture", "value": "0.46 %", "method": "ISO 15512", "replicate": 2}),
        (100, What.PRE_ANALYSIS, {"what": "ash", "value": "1.9 %", "method": "600 Cel"}),
        (120, What.ASSESSMENT, {"what": "pvc", "found": False, "how": "copper wire in a flame"}),
        (200, What.ZERO_CHECK, {"reading": {"filter.inlet.pressure.pv": "0.2 bar"}}),
        (6000, What.SAMPLE, {"name": "P1", "bag": "B1"}),
        (8400, What.SAMPLE, {"name": "P2"}),
        (11_000, What.SAMPLE, {"name": "P3"}),
        (12_500, What.SAMPLE, {"name": "P4"}),
        (8500, What.BAG, {"name": "B1", "net": "610 kg"}),
        (13_000, What.BAG, {"name": "B2", "net": "820 kg", "use": "held back"}),
        (9000, What.WEIGHING, {"gross": "14.2 kg", "tare": "1.1 kg", "minutes": "45 min"}),
        (9100, What.NOTE, {"text": say["note"]}),
        (14_000, What.PHOTO, {"sha256": PHOTO, "name": "screen.jpg", "of": "screen S-17"}),
        (15_000, What.RESULT, {"sample": "P1", "what": "moisture", "value": "0.08 %", "method": "ISO 15512"}),
        (15_000, What.RESULT, {"sample": "P2", "what": "moisture", "value": "< 0.05 %", "method": "ISO 15512"}),
        (15_000, What.RESULT, {"sample": "P3", "what": "moisture", "value": "0.06 %", "method": "ISO 15512"}),
        (15_000, What.RESULT, {"sample": "P2", "what": "melt-flow-rate", "value": "1.25 g/10min", "temperature": "190 Cel", "load": "2.16 kg"}),
    ]  # fmt: skip
    written = [
        Entry(number, 1, what, at(second), at(second + 30), "A. Doe", data)
        for number, (second, what, data) in enumerate(forms, start=1)
    ]
    last = len(written)
    written.append(
        Entry(
            last + 1, 1, What.NOTE, at(9100), at(9200), "B. Roe", {"text": "bale 7 smells of soap"}, last - 5
        )
    )
    return written


def trial(*, closed: bool = True, customer: str = "Folienkreis Lindental", name: str = "T-2031-07") -> Trial:
    """Its head."""
    return Trial(1, name, customer, "heron", T0_NS, at(LENGTH_S) if closed else None)


def made(
    *,
    steady: bool = True,
    closed: bool = True,
    judged: bool = True,
    without: tuple[str, ...] = (),
    written: list[Entry] | None = None,
    head: Trial | None = None,
    samples: Mapping[str, Series] | None = None,
) -> Outcome:
    """A trial put together."""
    given = dict(samples if samples is not None else series())
    line = timeline(given, steady=steady)
    kept = {p: s for p, s in given.items() if not p.startswith(without or ("\0",))}
    tags = {p: replace(canonical_tag(p), id=n) for n, p in enumerate(kept, start=1)}
    return outcome_of(
        head if head is not None else trial(closed=closed),
        entries() if written is None else written,
        at(LENGTH_S),
        line,
        kept,
        LINE,
        tags,
        calibrations(),
        judged=judged,
    )
