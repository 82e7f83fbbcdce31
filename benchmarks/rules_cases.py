"""The simulated days over which the rules are counted, made once and kept in ``build/``.

Nobody tuned a rule on these: their seeds begin at ``FIRST_SEED``, the rules were tried out on the scenarios'
own seeds and their variants 1 to 10.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.prepared import BUILD, made, remade
from historian.embedded.store import EmbeddedStore
from historian.embedded.upkeep import Upkeep
from historian.frame import NS
from historian.retention import Keep
from historian.tags import Tag
from meltledger.backtesting.crew import own_cores
from rules.line import LineFacts, MeltFilter
from simulator.batch import batch
from simulator.faults import FAULTS, FaultOrder
from simulator.json_file import write_json
from simulator.parquet_file import write_beside
from simulator.recorder import published_tags
from simulator.scenarios.file import load_scenario
from simulator.scenarios.scenario import Note, Scenario
from simulator.scenarios.variants import Kind, variant
from simulator.sensors import source_of

FIRST_SEED = 5000
T0_NS = 1_900_000_000 * NS
BASES = ("film_agglomerate", "bumper_regrind", "trial_day", "yoghurt_cups", "bottle_flakes")
FAULTY, HEALTHY = 20, 20
TAGS = 200
_ARRIVAL_S = 10
_SINGLE_BASE, _PUMP_BASE, _SINGLE_ONSET_S = "film_agglomerate", "yoghurt_cups", 150 * 60.0
_QUICK_S = 7200.0
# What the operator does wrong, or does because something is: not in a day with another fault alone.
_OF_OTHER_FAULTS = ("jog", "override on", "override off", "take out", "put back")
# They are what the operator does, not something that comes over a running line.
_OF_STARTS = ("soak_short", "cold_start")
_SENSORS = ("filter.inlet.pressure.pv", "die.pressure.pv", "extruder.melt.temp.pv")
_SOURCES = ("filter", "extruder", "pelletizer")
_MARKS = {"vent_flow": "vent flow seen", "die_drool": "die drool seen"}


@dataclass(frozen=True, slots=True)
class Case:
    """One simulated day: its name, and the base that tells which line it is."""

    name: str
    base: str
    scenario: Scenario


def cases(*, quick: bool) -> list[Case]:
    """The days: variants of every scenario, faulty and healthy, and each fault alone on a running line.

    Quick: two hours each of two faulty variants, a healthy one and a single fault.
    """
    if quick:
        chosen = [_variant(0, "faulty", 1), _variant(2, "faulty", 1), _variant(0, "healthy", 1)]
        cut = [replace(c, scenario=_cut(c.scenario, _QUICK_S)) for c in chosen]
        return [*cut, _single(0, "plate_open", onset_s=6300.0, until_s=_QUICK_S)]
    found = [_variant(b, "faulty", n) for b in range(len(BASES)) for n in range(1, FAULTY + 1)]
    found += [_variant(b, "healthy", n) for b in range(len(BASES)) for n in range(1, HEALTHY + 1)]
    alone = [_single(k, fault) for k, fault in enumerate(FAULTS) if fault not in _OF_STARTS]
    return found + alone


def learning_days() -> dict[str, Scenario]:
    """A healthy day of each base, of seeds of their own, on which the plain ways may learn."""
    days = {}
    for n, base in enumerate(BASES):
        seed = FIRST_SEED + 500 + n
        days[base] = variant(replace(load_scenario(base), seed=seed), "healthy", 1)
    return days


def facts_of(case: Case) -> LineFacts:
    """The line as its file would describe it."""
    line, settings = case.scenario.line, case.scenario.settings
    by_pressure = line.wiper_trigger == "dp"
    filter_ = MeltFilter(
        plates=line.plates,
        trigger_dp_bar=settings.get("filter.wipe.dp.sp") if by_pressure else None,
        trigger_held_s=4.0,
        max_interval_s=settings.get("filter.wipe.time.sp"),
        screen_area_cm2=line.screen_area_cm2,
        fineness_um=line.fineness_um,
        heater_a=round(line.plate_kw / 0.4, 6),
        heater_kw=line.plate_kw,
    )
    return LineFacts(case.base, filter_, line.barrel_zones, line.planned_kg_h)


def folder_of(quick: bool) -> Path:
    """Where the days are kept."""
    return BUILD / ("rules-quick" if quick else "rules")


def prepared_cases(*, quick: bool) -> list[tuple[Case, Path]]:
    """The days with the folders of their stores, made where they are missing or no longer the same."""
    folder, listed = folder_of(quick), cases(quick=quick)
    wanted = json.dumps([repr(c) for c in listed])
    if remade(folder / "cases", wanted):
        print(f"simulating {len(listed)} days into {folder}", file=sys.stderr, flush=True)
        jobs = [(c.scenario, folder / "cases" / c.name) for c in listed]
        with ProcessPoolExecutor(min(2, own_cores())) as pool:
            list(pool.map(_make, jobs))
        made(folder / "cases", wanted)
    return [(c, folder / "cases" / c.name) for c in listed]


def prepared_day(name: str, hours: float, start_s: int) -> Path:
    """A healthy line of ``TAGS`` tags that runs for so many hours, in a store."""
    folder = BUILD / "rules-days" / name
    scenario = replace(load_scenario("trial_day"), seed=FIRST_SEED + 900).without_faults()
    scenario = replace(scenario, duration_s=start_s + hours * 3600.0)
    wanted = f"{scenario!r} {TAGS}"
    if remade(folder, wanted):
        print(f"simulating {hours:g} h of {TAGS} tags into {folder}", file=sys.stderr, flush=True)
        aux = max(0, TAGS - len(published_tags(scenario)))
        write_store(folder / "store", scenario, start_s=start_s, aux_channels=aux)
        made(folder, wanted)
    return folder / "store"


def tags_of(scenario: Scenario, aux_channels: int = 0) -> list[Tag]:
    """The tags, each with the controller that delivers it as its source."""
    return [replace(t, source=source_of(t.path)) for t in published_tags(scenario, aux_channels=aux_channels)]


def write_store(folder: Path, scenario: Scenario, *, start_s: int = 0, aux_channels: int = 0) -> None:
    """Play a scenario into a store whose frames arrive every ten seconds, and seal it."""
    with closing(EmbeddedStore.open(folder, synchronous="normal")) as store:
        tags = store.register(tags_of(scenario, aux_channels))
        for frame in batch(scenario, tags, T0_NS, start_s, chunk_s=_ARRIVAL_S, aux_channels=aux_channels):
            store.append(frame)
        with closing(Upkeep.open(folder, scenario.name, Keep())) as upkeep:
            upkeep.step(T0_NS + round(scenario.duration_s) * NS, seal_all=True)


def _make(job: tuple[Scenario, Path]) -> None:
    scenario, folder = job
    write_store(folder, scenario)
    truth = folder / "truth.json"
    write_beside(truth, folder / "events.json", scenario, T0_NS)
    write_json(truth, [_numbered(e) for e in json.loads(truth.read_text(encoding="utf-8"))])


def _numbered(entry: dict[str, Any]) -> dict[str, Any]:
    """A backtest knows faults by their numbers."""
    named = entry["must_not_alarm"]
    return {**entry, "must_not_alarm": [FAULTS[n].number if n in FAULTS else n for n in named]}


def _variant(base: int, kind: Kind, number: int) -> Case:
    scenario = variant(replace(load_scenario(BASES[base]), seed=FIRST_SEED + base), kind, number)
    return Case(scenario.name, BASES[base], scenario)


def _single(
    number: int, fault: str, *, onset_s: float = _SINGLE_ONSET_S, until_s: float | None = None
) -> Case:
    """A fault alone, on a healthy plant of its own that has run at its planned point for half an hour."""
    kind = FAULTS[fault]
    base = _PUMP_BASE if kind.numbered == "pump.zone" else _SINGLE_BASE
    scenario = variant(replace(load_scenario(base), seed=FIRST_SEED + 100 + number), "healthy", 1)
    chance = np.random.default_rng(FIRST_SEED + 100 + number)
    places = scenario.line.places().get(kind.numbered, 0)
    order = FaultOrder(
        f"GT-{fault}",
        fault,
        onset_s,
        place=int(chance.integers(1, places + 1)) if kind.needs_place else None,
        tag=str(chance.choice(_SENSORS)) if kind.needs_tag else "",
        source=str(chance.choice(_SOURCES)) if kind.needs_source else "",
    )
    due_s = kind.must_detect_within_s or 600.0
    end_s = onset_s + max(1.3 * due_s + 900.0, 2400.0) if until_s is None else until_s
    notes = scenario.notes
    if fault in _MARKS:
        notes = (*notes, Note(onset_s + 120.0, "operator", "", _MARKS[fault]))
    name = f"alone-{fault}"
    whole = replace(
        scenario,
        name=name,
        faults=(order,),
        steps=tuple(s for s in scenario.steps if s.do not in _OF_OTHER_FAULTS),
        labels=tuple(x for x in scenario.labels if x.must_stay_quiet),
        notes=tuple(sorted(notes, key=lambda n: n.at_s)),
    )
    return Case(name, base, _cut(whole, end_s))


def _cut(scenario: Scenario, end_s: float) -> Scenario:
    """The scenario until then, without what would come later."""
    return replace(
        scenario,
        duration_s=end_s,
        steps=tuple(s for s in scenario.steps if s.at_s < end_s),
        faults=tuple(f for f in scenario.faults if f.onset_s < end_s),
        labels=tuple(_ended(scenario, end_s)),
        samples=tuple(s for s in scenario.samples if s.results_s < end_s),
        notes=tuple(n for n in scenario.notes if n.at_s < end_s),
    )


def _ended(scenario: Scenario, end_s: float) -> Iterator[Any]:
    for label in scenario.labels:
        if label.from_s < end_s:
            yield replace(label, until_s=min(label.until_s, end_s))
