"""Phases beside what was really done on simulated days: boundaries of acts, and of steady running.

An act is a start of the screw, a set-point, a stop, another screen, another lot; its boundary should lie
within 30 s of it. Steady running has no truth of its own: what the same rule finds on readings without noise
stands for it, and boundaries within 120 s count.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchmarks.figure import Figure
from historian.frame import NS, Frame, Series
from historian.tags import Tag
from process.features import tells_phase
from process.phase_names import MATERIAL_CHANGE, RAMP, SCREEN_CHANGE, SHUTDOWN, STANDBY, START, STEADY
from process.phases import Phase
from rules.line import LineFacts
from simulator.run import batch, published_tags
from simulator.scenarios.file import load_scenario
from simulator.scenarios.scenario import Scenario, Step
from simulator.scenarios.variants import named_variant
from trials.segments import phases

ACT_S, ACT_BAR = 30.0, 0.95
STEADY_S = 120.0
SCENARIOS = ("film_agglomerate", "bumper_regrind", "trial_day", "yoghurt_cups", "bottle_flakes")
_T0_NS = 1_900_000_000 * NS
_ALSO: Mapping[str, tuple[str, ...]] = {SHUTDOWN: (STANDBY,)}
"""A stop after which the zones stay warm is called standby."""
_SET = ("doser.rate.sp", "extruder.screw.speed.sp")
_LEAST_SHARE = 0.02


@dataclass(frozen=True, slots=True)
class Boundary:
    """One boundary that should be there.

    Attributes:
        phase: which phase begins.
        off_s: how far the nearest one that was found lies from it; infinity: none near.
    """

    act: str
    phase: str
    at_s: float
    off_s: float


def figures(quick: bool) -> Iterator[Figure]:
    """Shares of boundaries that lie near enough."""
    acts: list[Boundary] = []
    steady: list[float] = []
    for scenario in days(quick):
        (found, _), (quiet, turning) = _found(scenario), _found(_without_noise(scenario))
        acts += boundaries_of(scenario, found, turning)
        edges, others = _steady_edges(quiet), _steady_edges(found)
        steady += [*_apart(edges, others), *_apart(others, edges)]
    near = np.mean([b.off_s <= ACT_S for b in acts])
    yield Figure("phases, boundaries of acts within 30 s", float(near), 1.0, ACT_BAR, quick=quick)
    within = np.mean([s <= STEADY_S for s in steady])
    yield Figure("phases, edges of steady within 120 s", float(within), 1.0, ACT_BAR, quick=quick)


def days(quick: bool) -> Iterator[Scenario]:
    """The days that are looked at: scattered plants, with faults and without."""
    for name in SCENARIOS[: 2 if quick else None]:
        for n in range(1, 2 if quick else 5):
            for kind in ("healthy", "faulty"):
                yield named_variant(replace(load_scenario(name), seed=5000 + n), f"{kind}:{n}")


def boundaries_of(scenario: Scenario, found: Sequence[Phase], turning: Series) -> list[Boundary]:
    """The boundaries that the acts of a day should have made, and how far off they are.

    Args:
        turning: speed of the screw; what was asked for and refused by the line is no act.
    """
    made = []
    for step, phase in _acts(scenario, turning):
        at_ns = _T0_NS + round(step.at_s * NS)
        starts = [p.start_ns for p in found if p.name in (phase, *_ALSO.get(phase, ()))]
        off_s = min((abs(t - at_ns) / NS for t in starts), default=np.inf)
        if off_s > ACT_S and any(_is_in(found, name, at_ns) for name in (phase, START)):
            continue  # a second turn within the same ramp, or one before the start was over, makes none
        made.append(Boundary(f"{step.do} {step.tag}".strip(), phase, step.at_s, float(off_s)))
    return made


def _acts(scenario: Scenario, turning: Series) -> Iterator[tuple[Step, str]]:
    """Acts that begin a phase, with its name; a set-point's way counts from its begin."""
    held: dict[str, float] = dict(scenario.settings)
    for step in sorted(scenario.steps, key=lambda s: s.at_s):
        turns, soon = (_turns(turning, step.at_s + s) for s in (-5, 20))
        if step.do == "screw on" and soon and not turns:
            yield step, START
        elif step.do == "lot change" and turns:
            yield step, MATERIAL_CHANGE
        elif step.do == "screen change" and not turns:
            yield step, SCREEN_CHANGE
        elif step.do == "set" and step.tag in _SET and turns:
            before, held[step.tag] = held.get(step.tag, 0.0), step.to
            if step.tag == "doser.rate.sp" and step.to == 0:
                yield step, SHUTDOWN
            elif before > 0 and abs(step.to - before) > _LEAST_SHARE * before:
                yield step, RAMP


def _turns(turning: Series, at_s: float) -> bool:
    at = int(np.searchsorted(turning.time_ns, _T0_NS + round(at_s * NS))) - 1
    return at >= 0 and bool(turning.value[at] > 1.0)


def _found(scenario: Scenario) -> tuple[list[Phase], Series]:
    tags = {t.path: replace(t, id=n + 1) for n, t in enumerate(published_tags(scenario))}
    frames = list(batch(scenario, tags, _T0_NS, chunk_s=600))
    facts = LineFacts(scenario.name, planned_kg_h=scenario.line.planned_kg_h)
    told = {do: [_T0_NS + round(s.at_s * NS) for s in scenario.steps if s.do == do] for do in _TOLD}
    end_ns = _T0_NS + round(scenario.duration_s * NS)
    series = _series(frames, tags)
    found = phases(
        series,
        _T0_NS,
        end_ns,
        facts,
        materials_ns=told["lot change"],
        screens_ns=told["screen change"],
    )
    return found, series["extruder.screw.speed.pv"]


_TOLD = ("lot change", "screen change")


def _series(frames: Sequence[Frame], tags: Mapping[str, Tag]) -> dict[str, Series]:
    columns = [
        np.concatenate([getattr(f, c) for f in frames]) for c in ("tag", "time_ns", "value", "quality")
    ]
    tag, time_ns, value, quality = columns
    order = np.lexsort((time_ns, tag))
    made = {}
    for path, about in tags.items():
        if tells_phase(path):
            a, b = np.searchsorted(tag[order], [about.id, about.id + 1])
            chosen = order[a:b]
            made[path] = Series(time_ns[chosen], value[chosen], quality[chosen])
    return made


def _without_noise(scenario: Scenario) -> Scenario:
    return replace(scenario, variation={**scenario.variation, "noise": 0.0})


def _steady_edges(found: Sequence[Phase]) -> list[int]:
    return [t for p in found if p.name == STEADY for t in (p.start_ns, p.end_ns)]


def _apart(edges: Sequence[int], others: Sequence[int]) -> list[float]:
    """From each edge to the nearest of the others, s."""
    return [min((abs(e - o) / NS for o in others), default=np.inf) for e in edges]


def _is_in(found: Sequence[Phase], name: str, time_ns: int) -> bool:
    return any(p.name == name and p.start_ns <= time_ns < p.end_ns for p in found)
