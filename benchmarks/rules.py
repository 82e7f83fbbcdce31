"""The rules: what they cost on a running line and over an old day, alone and spread, and what they find."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing
from dataclasses import replace
from pathlib import Path

from benchmarks import rules_detection
from benchmarks.figure import ROUNDS, Figure, medians, seconds
from benchmarks.prepared import alone
from benchmarks.rules_cases import FIRST_SEED, T0_NS, TAGS, Case, facts_of, prepared_day, tags_of
from historian.frame import NS
from meltledger.backtesting.archives import opened
from meltledger.backtesting.crew import Crew, crew, has_dask
from meltledger.backtesting.job import Job, Result, judge_trial
from meltledger.judge import LiveJudge
from rules.backtest import judged
from rules.backtest.lots import LOT_S
from rules.detectors import detectors_for
from rules.engine import Engine
from rules.journal import Journal
from simulator.batch import batch
from simulator.recorder import published_tags
from simulator.scenarios.file import load_scenario

STREAM_PERCENT = 1.0
DAY_S, DAY_HOURS = 60.0, 24.0
SPREAD_BAR, TRIALS = 1.5, 8
_RUNNING_FROM_S = 110 * 60
_WARM_S, _STREAM_S, _STREAM_QUICK_S = 300, 1800, 300
_QUICK_HOURS, _SPREAD_QUICK_HOURS = 2.0, 0.5


def figures(quick: bool) -> Iterator[Figure]:
    """Cost, spread and detection, in turn; nobody else measures meanwhile."""
    with alone():
        yield _streaming(quick)
        yield _day(quick)
        if has_dask():
            yield _spread(quick)
        yield from rules_detection.figures(quick)


def _streaming(quick: bool) -> Figure:
    """Processor's share of the rules and their journal on a line that runs, the first minutes left out."""
    scenario = replace(load_scenario("film_agglomerate"), seed=FIRST_SEED + 901)
    aux = max(0, TAGS - len(published_tags(scenario)))
    tags = {t.path: replace(t, id=n) for n, t in enumerate(tags_of(scenario, aux), start=1)}
    for_s = _STREAM_QUICK_S if quick else _STREAM_S
    end_s = _RUNNING_FROM_S + _WARM_S + for_s
    frames = list(batch(scenario, tags, T0_NS, _RUNNING_FROM_S, end_s, chunk_s=1, aux_channels=aux))
    facts = facts_of(Case("stream", "film_agglomerate", scenario))
    warm_ns = T0_NS + (_RUNNING_FROM_S + _WARM_S) * NS

    def share() -> float:
        began = 0.0
        with ExitStack() as stack:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
            journal = stack.enter_context(closing(Journal.open(folder / "journal.db")))
            judge = LiveJudge(Engine(tags, lambda: detectors_for(facts, tags)), journal)
            for number, frame in enumerate(frames, start=1):
                if not began and frame.arrival_ns >= warm_ns:
                    began = time.process_time()
                judge.feed(number, frame)
                judge.advance(frame.arrival_ns)
            return 100.0 * (time.process_time() - began) / for_s

    (percent,) = medians(share)
    name = f"{TAGS} tags at 1 Hz, all rules and journal, % of one core against the whole core"
    return Figure(name, percent, 100.0, 100.0 / STREAM_PERCENT, True, quick, STREAM_PERCENT)


def _day(quick: bool) -> Figure:
    """Processor seconds of a backtest of an old day; a real line needs the day."""
    hours = _QUICK_HOURS if quick else DAY_HOURS
    folder = prepared_day("quick" if quick else "day", hours, _RUNNING_FROM_S)
    case = Case("day", "trial_day", load_scenario("trial_day"))

    def judging() -> float:
        began = time.process_time()
        with opened(folder) as trial:
            judged(trial.frames, trial.tags, facts_of(case))
        return time.process_time() - began

    (took_s,) = medians(judging)
    bar = 86_400.0 / DAY_S
    name = f"backtest of {hours:g} h of {TAGS} tags, s of one core against the time they took"
    return Figure(name, took_s, hours * 3600.0, bar, True, quick, DAY_S * hours / DAY_HOURS)


def _spread(quick: bool) -> Figure:
    """Trials a minute on two Dask workers against one; the clusters stand already."""
    hours = _SPREAD_QUICK_HOURS if quick else _QUICK_HOURS
    folder = prepared_day("spread-quick" if quick else "quick", hours, _RUNNING_FROM_S)
    facts = facts_of(Case("day", "trial_day", load_scenario("trial_day")))
    jobs = [Job(folder, (facts,), LOT_S)] * TRIALS

    def rate(those: Crew) -> float:
        return 60.0 * TRIALS / seconds(lambda: _all_done(those, jobs))

    with crew("dask", 1) as one, crew("dask", 2) as two:
        for those in (one, two):
            _all_done(those, jobs[:2])  # each worker has then imported what it needs
        of_one, of_two = medians(lambda: rate(one), lambda: rate(two), rounds=ROUNDS)
    name = f"{TRIALS} trials of {hours:g} h, trials/min on two Dask workers against one"
    return Figure(name, of_two, of_one, SPREAD_BAR, quick=quick)


def _all_done(those: Crew, jobs: list[Job]) -> None:
    results: list[Result | None] = [d.result for d in those.do(judge_trial, jobs)]
    if wrong := [r for r in results if r is None or r.error]:
        raise RuntimeError(f"a trial could not be judged: {wrong[0]}")
